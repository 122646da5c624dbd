"""Copper pairs: resistance at temperature, inductance and capacitance, and loss by its name."""

import math
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from soffit.circuit.arrays import FloatArray, not_negative, positive
from soffit.constants import (
    COPPER_RESISTIVITY_20_DEGC_OHM_M,
    COPPER_TEMPERATURE_COEFFICIENT_PER_K,
    IEC_60228_TEMPERATURE_COEFFICIENT_PER_K,
)
from soffit.decibel import field_ratio, field_ratio_db, power_ratio
from soffit.errors import DomainError, TableError
from soffit.tables.load import load_table
from soffit.units import FOOT_M

REFERENCE_DEGC: Final = 20.0
"""Temperature at which conductor resistance is quoted. [°C]"""

VACUUM_PERMEABILITY_H_M: Final = 4e-7 * math.pi
"""Magnetic constant; the value of the SI before 2019, right to nine digits. [H/m]"""

VACUUM_PERMITTIVITY_F_M: Final = 8.8541878128e-12
"""Electric constant, CODATA 2018 (from memory). [F/m]"""

Standard = Literal["ASTM B258", "IEC 60228 class 2", "IEC 60228 class 5", "NEC Table 8 stranded"]
"""Which table a resistance per metre comes from; tables are never mixed in one cable."""

Metal = Literal["copper", "tinned copper", "copper-clad aluminium"]

_COLUMN: Final = {
    ("IEC 60228 class 2", "copper"): "class_2_ohm_km",
    ("IEC 60228 class 5", "copper"): "class_5_ohm_km",
    ("IEC 60228 class 5", "tinned copper"): "class_5_tinned_ohm_km",
}


def _check_temperature(conductor_degc: float) -> None:
    if not -60.0 <= conductor_degc <= 200.0:
        msg = f"conductor temperature {conductor_degc!r} °C is outside -60 ... 200 °C"
        raise DomainError(
            msg,
            where="conductor_degc",
            why="the linear law of copper was fitted to ordinary temperatures",
            do="give the temperature of the copper in degrees Celsius, such as 40",
        )


def copper_temperature_ratio(conductor_degc: float) -> float:
    """Resistance of annealed copper over its value at 20 °C.

    Parameters
    ----------
    conductor_degc
        Temperature of the copper, -60 to 200. [°C]

    Returns
    -------
    float
        1 + 0.00393 (t - 20).

    Raises
    ------
    DomainError
        If the temperature is outside the range.

    References
    ----------
    IEC 60028:1925, constant-mass temperature coefficient at 20 °C (read in a reproduction).

    Examples
    --------
    >>> round(copper_temperature_ratio(75.0), 5)
    1.21615
    """
    _check_temperature(conductor_degc)
    return 1.0 + COPPER_TEMPERATURE_COEFFICIENT_PER_K * (conductor_degc - REFERENCE_DEGC)


def iec_60228_temperature_ratio(conductor_degc: float) -> float:
    """Resistance over its value at 20 °C, as the conversion factors of IEC 60228 have it.

    Parameters
    ----------
    conductor_degc
        Temperature of the copper, -60 to 200. [°C]

    Returns
    -------
    float
        1 + 0.004 (t - 20); the standard prints its reciprocal.

    Raises
    ------
    DomainError
        If the temperature is outside the range.

    References
    ----------
    IEC 60228:2004, annex on temperature correction factors (read in a reproduction). Never mixed
    with the 0.00393 of IEC 60028.

    Examples
    --------
    >>> round(1.0 / iec_60228_temperature_ratio(75.0), 3)
    0.82
    """
    _check_temperature(conductor_degc)
    return 1.0 + IEC_60228_TEMPERATURE_COEFFICIENT_PER_K * (conductor_degc - REFERENCE_DEGC)


def awg_diameter_m(awg: int) -> float:
    """Diameter of a solid round wire by its American wire gauge number.

    Parameters
    ----------
    awg
        Gauge number, -3 (for 0000) to 36.

    Returns
    -------
    float
        0.127 mm x 92^((36 - n)/39). [m]

    Raises
    ------
    DomainError
        If the number is outside the range.

    References
    ----------
    ASTM B258, the geometric series between 0.0050 in (36) and 0.4600 in (0000), from memory.

    Examples
    --------
    >>> round(awg_diameter_m(18) * 1e3, 4)
    1.0237
    """
    if not -3 <= awg <= 36:
        msg = f"there is no {awg} AWG here"
        raise DomainError(
            msg,
            where="awg",
            why="the series of ASTM B258 is used from 0000 (-3) to 36",
            do="choose a gauge such as 18, 16, 14 or 12 AWG",
        )
    return float(0.127e-3 * 92.0 ** ((36 - awg) / 39.0))


def awg_area_m2(awg: int) -> float:
    """Cross-section of a solid round wire by its American wire gauge number.

    Parameters
    ----------
    awg
        Gauge number, -3 (for 0000) to 36.

    Returns
    -------
    float
        Area pi d²/4. [m²]

    Raises
    ------
    DomainError
        If the number is outside the range.

    Examples
    --------
    >>> round(awg_area_m2(12) * 1e6, 3)
    3.309
    """
    return math.pi / 4.0 * awg_diameter_m(awg) ** 2


def iacs_ratio(metal: Metal) -> float:
    """Conductivity of a conductor metal over that of annealed copper.

    Parameters
    ----------
    metal
        Metal of the conductor.

    Returns
    -------
    float
        Share of 100 % IACS.

    Raises
    ------
    TableError
        If the table has no such metal.

    Examples
    --------
    >>> iacs_ratio("copper-clad aluminium")
    0.62
    """
    return load_table("conductor_metals").number("iacs_ratio", metal=metal)


def awg_resistance_ohm_m(
    awg: int, *, conductor_degc: float = REFERENCE_DEGC, metal: Metal = "copper"
) -> float:
    """Resistance per metre of one conductor of a gauge, nominal solid copper.

    Parameters
    ----------
    awg
        Gauge number, -3 (for 0000) to 36.
    conductor_degc
        Temperature of the conductor. [°C]
    metal
        Copper-clad aluminium has 0.62 of copper's conductivity.

    Returns
    -------
    float
        Resistance of one conductor, not of the loop. [Ω/m]

    Raises
    ------
    DomainError
        If gauge or temperature are outside their range.
    TableError
        If the metal is unknown.

    References
    ----------
    Derived: resistivity of IEC 60028:1925 over the area of ASTM B258.

    Examples
    --------
    >>> round(awg_resistance_ohm_m(18) * 1e3, 2)
    20.95
    """
    resistivity = COPPER_RESISTIVITY_20_DEGC_OHM_M / iacs_ratio(metal)
    return resistivity / awg_area_m2(awg) * copper_temperature_ratio(conductor_degc)


def iec_60228_resistance_ohm_m(
    area_mm2: str,
    *,
    strand_class: Literal["2", "5"] = "2",
    conductor_degc: float = REFERENCE_DEGC,
    metal: Metal = "copper",
) -> float:
    """Greatest resistance per metre that IEC 60228 allows one conductor.

    Parameters
    ----------
    area_mm2
        Nominal cross-section as printed, such as ``"1.5"``. [mm²]
    strand_class
        2: stranded (the same maxima hold for solid, class 1); 5: flexible.
    conductor_degc
        Temperature of the conductor. [°C]
    metal
        Copper, tinned copper (class 5), or copper-clad aluminium (outside the standard).

    Returns
    -------
    float
        Maximum resistance of one conductor, not of the loop. [Ω/m]

    Raises
    ------
    TableError
        If the standard (as stored) has no such size, class or metal.
    DomainError
        If the temperature is outside its range.

    References
    ----------
    IEC 60228:2004, Tables 1-3, and its temperature factors of 0.004/K.

    Examples
    --------
    >>> round(iec_60228_resistance_ohm_m("1.5") * 1e3, 3)
    12.1
    """
    listed = "copper" if metal == "copper-clad aluminium" else metal
    column = _COLUMN.get((f"IEC 60228 class {strand_class}", listed))
    if column is None:
        msg = f"IEC 60228 as stored has no {metal} of class {strand_class}"
        raise TableError(
            msg,
            where="iec_60228",
            why="tinned copper is stored for class 5 only",
            do="choose class 5, or plain copper",
        )
    maximum = load_table("iec_60228").number(column, area_mm2=area_mm2) * 1e-3
    if metal == "copper-clad aluminium":
        maximum /= iacs_ratio(metal)
    return maximum * iec_60228_temperature_ratio(conductor_degc)


def nec_table_8_resistance_ohm_m(
    awg: str,
    *,
    construction: Literal["solid", "stranded", "coated solid"] = "stranded",
    conductor_degc: float = 75.0,
) -> float:
    """Resistance per metre of one conductor as NEC chapter 9 table 8 prints it, scaled from 75 °C.

    Parameters
    ----------
    awg
        Gauge number as printed, ``"18"`` to ``"10"``.
    construction
        Column of the table.
    conductor_degc
        Temperature of the conductor; the table is for 75. [°C]

    Returns
    -------
    float
        Resistance of one conductor, not of the loop. [Ω/m]

    Raises
    ------
    TableError
        If the table (as stored) has no such gauge or column.
    DomainError
        If the temperature is outside its range.

    References
    ----------
    NFPA 70, Chapter 9, Table 8 (read in reproductions); scaled by IEC 60028:1925.

    Examples
    --------
    >>> round(nec_table_8_resistance_ohm_m("18") * 304.8, 2)
    7.95
    """
    column = f"{construction.replace(' ', '_')}_ohm_kft"
    at_75_degc = load_table("nec_chapter_9_table_8").number(column, awg=awg) / (1e3 * FOOT_M)
    return at_75_degc * copper_temperature_ratio(conductor_degc) / copper_temperature_ratio(75.0)


def awg_stranded_resistance_ohm_m(awg: int, *, conductor_degc: float) -> float:
    """Resistance per metre of one stranded conductor of a gauge.

    Parameters
    ----------
    awg
        Gauge number.
    conductor_degc
        Temperature of the conductor. [°C]

    Returns
    -------
    float
        NEC chapter 9 table 8 where it prints the gauge; else the nominal solid wire times the
        stranded over solid ratio of the printed gauge next to it. [Ω/m]

    Raises
    ------
    DomainError
        If gauge or temperature are outside their range.

    Notes
    -----
    Derived here for gauges that the table as stored does not print: stranding makes each strand
    1.3 to 2.6 % longer than the conductor, 2.3 % at 18 AWG and 2.5 % at 10 AWG.

    Examples
    --------
    >>> solid, stranded = (
    ...     awg_resistance_ohm_m(22), awg_stranded_resistance_ohm_m(22, conductor_degc=20.0)
    ... )
    >>> round(stranded / solid, 4)
    1.0232
    """
    printed = [row["awg"] for row in load_table("nec_chapter_9_table_8").rows]
    if str(awg) in printed:
        return nec_table_8_resistance_ohm_m(str(awg), conductor_degc=conductor_degc)
    near = min(printed, key=lambda entry: abs(int(entry) - awg))
    ratio = nec_table_8_resistance_ohm_m(near) / nec_table_8_resistance_ohm_m(
        near, construction="solid"
    )
    return awg_resistance_ohm_m(awg, conductor_degc=conductor_degc) * ratio


def conductor_resistance_ohm_m(
    system: Literal["AWG", "mm2"],
    size: str,
    *,
    conductor_degc: float,
    standard: Standard | None = None,
    metal: Metal = "copper",
) -> float:
    """Resistance per metre of one conductor of a gauge that a person wrote.

    Parameters
    ----------
    system, size
        As :func:`soffit.units.parse_gauge` returns them.
    conductor_degc
        Temperature of the conductor. [°C]
    standard
        Table to use; ASTM B258 (nominal, solid) for AWG and IEC 60228 class 2 for mm² by default.
    metal
        Metal of the conductor.

    Returns
    -------
    float
        Resistance of one conductor, not of the loop. [Ω/m]

    Raises
    ------
    TableError
        If the table has no such size, or is for the other system of sizes.
    DomainError
        If gauge or temperature are outside their range.

    Examples
    --------
    >>> round(conductor_resistance_ohm_m("mm2", "2.5", conductor_degc=20.0) * 1e3, 2)
    7.41
    """
    chosen: Standard = standard or ("ASTM B258" if system == "AWG" else "IEC 60228 class 2")
    if (system == "mm2") != chosen.startswith("IEC"):
        msg = f"{size} {system} is not a size of {chosen}"
        raise TableError(
            msg,
            where="standard",
            why="AWG sizes belong to ASTM B258 and NEC Table 8, mm² sizes to IEC 60228",
            do="name the table that the cable's data sheet names",
        )
    if chosen == "ASTM B258":
        return awg_resistance_ohm_m(int(size), conductor_degc=conductor_degc, metal=metal)
    if chosen == "NEC Table 8 stranded":
        plain = awg_stranded_resistance_ohm_m(int(size), conductor_degc=conductor_degc)
        return plain / iacs_ratio(metal)
    return iec_60228_resistance_ohm_m(
        size,
        strand_class="5" if chosen.endswith("5") else "2",
        conductor_degc=conductor_degc,
        metal=metal,
    )


def resistance_source(
    system: Literal["AWG", "mm2"], standard: Standard | None = None, *, size: str = ""
) -> str:
    """Name the table that :func:`conductor_resistance_ohm_m` uses, as a paper shows it.

    Parameters
    ----------
    system
        ``AWG`` or ``mm2``.
    standard
        Table named by the person, if any.
    size
        Size as printed, where the table might not have it.

    Returns
    -------
    str
        Document, edition and place, with a word on how the values are known.
    """
    chosen = standard or ("ASTM B258" if system == "AWG" else "IEC 60228 class 2")
    if chosen == "ASTM B258":
        return "ASTM B258 diameters, nominal solid copper of IEC 60028 (100 % IACS)"
    if chosen.startswith("NEC"):
        table = load_table("nec_chapter_9_table_8")
        if size and size not in {row["awg"] for row in table.rows}:
            return f"ASTM B258 nominal, stranded as {table.source.document} {table.source.place}"
        return table.source.cite()
    return f"{chosen}, maximum values: {load_table('iec_60228').source.cite()}"


def conductor_area_m2(system: Literal["AWG", "mm2"], size: str) -> float:
    """Nominal cross-section of one conductor.

    Parameters
    ----------
    system, size
        As :func:`soffit.units.parse_gauge` returns them.

    Returns
    -------
    float
        Area. [m²]

    Raises
    ------
    DomainError
        If the gauge is outside the series.

    Examples
    --------
    >>> conductor_area_m2("mm2", "1.5")
    1.5e-06
    """
    return awg_area_m2(int(size)) if system == "AWG" else float(size) * 1e-6


COPPER_DENSITY_KG_M3: Final = 8890.0
"""Annealed copper at 20 °C. IEC 60028:1925. [kg/m³]"""


def copper_mass_kg_m(area_m2: float) -> float:
    """Copper in one metre of a pair.

    Parameters
    ----------
    area_m2
        Cross-section of one conductor. [m²]

    Returns
    -------
    float
        Mass of both conductors per metre of route. [kg/m]
    """
    return 2.0 * COPPER_DENSITY_KG_M3 * area_m2


def loop_resistance_ohm(*, resistance_ohm_m: ArrayLike, length_m: ArrayLike) -> FloatArray:
    """Resistance of a run, out and back: twice the route.

    Parameters
    ----------
    resistance_ohm_m : (...)
        Resistance of one conductor per metre, at its temperature. [Ω/m]
    length_m : (...)
        Route length of the run. [m]

    Returns
    -------
    (...)
        Both conductors in series. [Ω]

    Raises
    ------
    DomainError
        If a length is negative or a resistance is not positive.

    Examples
    --------
    >>> float(loop_resistance_ohm(resistance_ohm_m=12.1e-3, length_m=100.0).round(2))
    2.42
    """
    per_metre = positive(
        resistance_ohm_m,
        "resistance_ohm_m",
        why="every conductor has resistance",
        do="take it from a conductor table",
    )
    length = not_negative(
        length_m, "length_m", why="a run cannot be shorter than nothing", do="check the length"
    )
    return 2.0 * per_metre * length


def pair_inductance_h_m(*, conductor_diameter_m: float, centre_distance_m: float) -> float:
    """Loop inductance per metre of a pair of parallel round conductors.

    Parameters
    ----------
    conductor_diameter_m
        Diameter of each conductor. [m]
    centre_distance_m
        Distance of the axes, more than the diameter. [m]

    Returns
    -------
    float
        External plus low-frequency internal inductance. [H/m]

    Raises
    ------
    DomainError
        If the conductors overlap.

    References
    ----------
    Grover, Inductance Calculations, 1946, two-wire line (from memory): mu0/pi (arcosh(s/d) + 1/4).

    Examples
    --------
    >>> inductance = pair_inductance_h_m(conductor_diameter_m=1.0e-3, centre_distance_m=2.0e-3)
    >>> round(inductance * 1e6, 3)
    0.627
    """
    ratio = _spread(conductor_diameter_m, centre_distance_m)
    return VACUUM_PERMEABILITY_H_M / math.pi * (math.acosh(ratio) + 0.25)


def pair_capacitance_f_m(
    *, conductor_diameter_m: float, centre_distance_m: float, relative_permittivity: float
) -> float:
    """Capacitance per metre of a pair of parallel round conductors.

    Parameters
    ----------
    conductor_diameter_m
        Diameter of each conductor. [m]
    centre_distance_m
        Distance of the axes, more than the diameter. [m]
    relative_permittivity
        Effective value of insulation and air together, 1 or more.

    Returns
    -------
    float
        Capacitance between the conductors. [F/m]

    Raises
    ------
    DomainError
        If the conductors overlap or the permittivity is below 1.

    References
    ----------
    Two parallel cylinders: pi eps0 eps_r / arcosh(s/d); textbook result, from memory.

    Examples
    --------
    >>> capacitance = pair_capacitance_f_m(
    ...     conductor_diameter_m=1.0e-3, centre_distance_m=2.0e-3, relative_permittivity=3.0
    ... )
    >>> round(capacitance * 1e12, 1)
    63.4
    """
    if not relative_permittivity >= 1.0:
        msg = f"relative_permittivity must be 1 or more, got {relative_permittivity!r}"
        raise DomainError(
            msg, where="relative_permittivity", why="air has 1", do="use 2 to 4 for plastics"
        )
    ratio = _spread(conductor_diameter_m, centre_distance_m)
    return math.pi * VACUUM_PERMITTIVITY_F_M * relative_permittivity / math.acosh(ratio)


def _spread(conductor_diameter_m: float, centre_distance_m: float) -> float:
    if not (conductor_diameter_m > 0.0 and centre_distance_m > conductor_diameter_m):
        msg = f"conductors of {conductor_diameter_m!r} m cannot lie {centre_distance_m!r} m apart"
        raise DomainError(
            msg,
            where="centre_distance_m",
            why="the axes are further apart than one diameter",
            do="give the diameter of the copper and the distance of the axes",
        )
    return centre_distance_m / conductor_diameter_m


def loss_db(*, loop_resistance_ohm: ArrayLike, load_ohm: ArrayLike) -> FloatArray:
    """Level lost in the cable when the whole load sits at its far end.

    Parameters
    ----------
    loop_resistance_ohm : (n,)
        Both conductors in series, at working temperature. [Ω]
    load_ohm : (n,)
        Impedance U²/P of all taps together. [Ω]

    Returns
    -------
    (n,)
        Loss, positive. [dB]

    Raises
    ------
    DomainError
        If a load is zero or negative, or a resistance negative.

    Notes
    -----
    L = 20 lg(1 + R/Z). Holds for resistive loads; evenly spread taps lose about half as much.

    Examples
    --------
    >>> float(loss_db(loop_resistance_ohm=2.42, load_ohm=100.0).round(3))
    0.208
    """
    load = positive(load_ohm, "load_ohm", why="a load draws power", do="check taps and voltage")
    loop = not_negative(
        loop_resistance_ohm, "loop_resistance_ohm", why="copper only takes power", do="check it"
    )
    return field_ratio_db(1.0 + loop / load)


def line_loss_db(*, amplifier_voltage_v: ArrayLike, speaker_voltage_v: ArrayLike) -> FloatArray:
    """Level lost between the amplifier's terminals and a speaker's.

    Parameters
    ----------
    amplifier_voltage_v : (...)
        Voltage at the amplifier; magnitudes, or phasors. [V]
    speaker_voltage_v : (...)
        Voltage at the speaker. [V]

    Returns
    -------
    (...)
        20 lg(U_amp / U_speaker), positive where voltage is lost. [dB]

    Examples
    --------
    >>> float(line_loss_db(amplifier_voltage_v=100.0, speaker_voltage_v=89.13).round(2))
    1.0
    """
    far = np.abs(np.asarray(speaker_voltage_v))
    with np.errstate(divide="ignore"):
        return field_ratio_db(np.abs(np.asarray(amplifier_voltage_v)) / far)


def voltage_drop_ratio(line_loss_db: ArrayLike) -> FloatArray:
    """Share of the voltage that does not arrive.

    Parameters
    ----------
    line_loss_db : (...)
        Loss, positive. [dB]

    Returns
    -------
    (...)
        1 - U_speaker/U_amp.

    Examples
    --------
    >>> float(voltage_drop_ratio(1.0).round(3))
    0.109
    """
    return np.asarray(1.0 - field_ratio(-np.asarray(line_loss_db, dtype=np.float64)))


def delivered_power_ratio(line_loss_db: ArrayLike) -> FloatArray:
    """Share of its tap power that a load still gets.

    Parameters
    ----------
    line_loss_db : (...)
        Loss, positive. [dB]

    Returns
    -------
    (...)
        (U_speaker/U_amp)².

    Examples
    --------
    >>> float(delivered_power_ratio(1.0).round(3))
    0.794
    """
    return power_ratio(-np.asarray(line_loss_db, dtype=np.float64))


def cable_power_share(*, cable_power_w: ArrayLike, amplifier_power_w: ArrayLike) -> FloatArray:
    """Share of what the amplifier delivers that warms the cable.

    Parameters
    ----------
    cable_power_w : (...)
        Power lost in all runs. [W]
    amplifier_power_w : (...)
        Power leaving the amplifier. [W]

    Returns
    -------
    (...)
        P_cable / P_amp.

    Raises
    ------
    DomainError
        If no power leaves the amplifier.

    Notes
    -----
    With one load at the far end this equals the voltage drop ratio R/(R + Z).

    Examples
    --------
    >>> float(cable_power_share(cable_power_w=5.59, amplifier_power_w=100.0).round(4))
    0.0559
    """
    total = positive(
        amplifier_power_w, "amplifier_power_w", why="a share needs a whole", do="connect a load"
    )
    return np.asarray(np.asarray(cable_power_w, dtype=np.float64) / total)
