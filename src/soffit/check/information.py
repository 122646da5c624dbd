"""Figures of codes that are printed as information: alarm levels, insulation, plenum devices."""

from typing import Literal

from soffit.tables.load import load_table


def alarm_level_dba(
    *,
    average_dba: float,
    maximum_dba: float | None = None,
    mode: Literal["public", "private", "sleeping"] = "public",
) -> float:
    """Level that an alarm signal has to reach; emergency sound itself is out of scope.

    Parameters
    ----------
    average_dba
        Average ambient level. [dB]
    maximum_dba
        Highest ambient level that lasts 60 s or more. [dB]
    mode
        How the signal is used.

    Returns
    -------
    float
        A-weighted level. [dB]

    References
    ----------
    NFPA 72, 2002, 7.4.2.1 (later 18.4.4.1), as a manual quotes it.

    Examples
    --------
    >>> alarm_level_dba(average_dba=54.0, maximum_dba=62.0)
    69.0
    """
    table = load_table("alarm_levels")
    level = average_dba + table.number("over_average", mode=mode)
    if maximum_dba is not None:
        level = max(level, maximum_dba + table.number("over_maximum", mode=mode))
    row = next(row for row in table.rows if row["mode"] == mode)
    return max(level, float(row["least"])) if "least" in row else level


def insulation_passes(
    *, measured_mohm: float, line_voltage_v: float, is_selv: bool = False
) -> bool:
    """Whether a measured insulation resistance is enough.

    Parameters
    ----------
    measured_mohm
        Measured on the cable alone, everything disconnected. [MΩ]
    line_voltage_v
        Nominal line voltage. [V]
    is_selv
        Whether the source is SELV or PELV.

    Returns
    -------
    bool
        True if it is.

    References
    ----------
    BS 7671, 643.3, Table 64, as guides retell it.

    Examples
    --------
    >>> insulation_passes(measured_mohm=0.8, line_voltage_v=100.0)
    False
    """
    circuit = "SELV or PELV" if is_selv and line_voltage_v <= 50.0 else "up to 500 V"
    return measured_mohm >= load_table("insulation_test").number("least_mohm", circuit=circuit)


def plenum_failures(
    *, peak_heat_kw: float, peak_density: float, mean_density: float
) -> tuple[str, ...]:
    """Say in which quantities a product fails the fire test for air-handling spaces.

    Parameters
    ----------
    peak_heat_kw
        Peak rate of heat release. [kW]
    peak_density, mean_density
        Optical density of the smoke.

    Returns
    -------
    tuple of str
        Names of the quantities that are too high; empty if it passes.

    References
    ----------
    UL 2043, as a testing body's note retells it.

    Examples
    --------
    >>> plenum_failures(peak_heat_kw=90.0, peak_density=0.45, mean_density=0.16)
    ('mean optical density',)
    """
    table = load_table("plenum_device")
    measured = {
        "peak heat release kW": peak_heat_kw,
        "peak optical density": peak_density,
        "mean optical density": mean_density,
    }
    return tuple(
        name for name, value in measured.items() if value > table.number("most", quantity=name)
    )
