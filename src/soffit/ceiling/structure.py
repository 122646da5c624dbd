"""What a ceiling may carry: grid classes, point loads, seismic wires, safety wires."""

from dataclasses import dataclass
from typing import Final, Literal

from soffit.errors import DomainError
from soffit.tables.load import load_table
from soffit.units import INCH_M, POUND_KG

STANDARD_GRAVITY_M_S2: Final = 9.80665
"""Standard gravity, ISO 80000-3:2019, item 3-9.2 note. [m/s²]"""

LoadClass = Literal["light", "intermediate", "heavy", "unknown"]
Support = Literal["grid", "independent"]

POUND_PER_FOOT_KG_M: Final = POUND_KG / (12.0 * INCH_M)
"""Mass per length. [kg/m]"""


def deflection_limit_m(span_m: float) -> float:
    """Largest deflection of a main runner under its uniform load.

    Parameters
    ----------
    span_m
        Simple span between hangers. [m]

    Returns
    -------
    float
        L/360. [m]

    References
    ----------
    ASTM C635/C635M-17, 4.1.2.

    Examples
    --------
    >>> round(deflection_limit_m(48 * 0.0254) / 0.0254, 3)
    0.133
    """
    return span_m / 360.0


def uniform_load_kg_m(load_class: LoadClass) -> float:
    """Least uniform load of a main runner by duty class.

    Parameters
    ----------
    load_class
        Class; ``unknown`` counts as light.

    Returns
    -------
    float
        Mass per metre of runner, tiles included. [kg/m]

    References
    ----------
    ASTM C635 Table 1, from memory: 5, 12 and 16 lb/ft.
    """
    table = load_table("grid_classes")
    name = "light" if load_class == "unknown" else load_class
    return table.number("uniform_load_lb_ft", load_class=name) * POUND_PER_FOOT_KG_M


def point_load_kg(*, uniform_kg_m: float, span_m: float) -> float:
    """Load at mid-span that bends a beam as far as a uniform one does.

    Parameters
    ----------
    uniform_kg_m
        Uniform load. [kg/m]
    span_m
        Simple span. [m]

    Returns
    -------
    float
        Point load. [kg]

    Notes
    -----
    5 w L⁴ / 384 EI = P L³ / 48 EI gives P = 0.625 w L. Derived here.

    Examples
    --------
    >>> round(point_load_kg(uniform_kg_m=16.0, span_m=4.0), 6)
    40.0
    """
    return 0.625 * uniform_kg_m * span_m


def grid_capacity_kg(
    *,
    load_class: LoadClass,
    span_m: float,
    tile_mass_kg_m2: float,
    runner_spacing_m: float,
    runners: int = 1,
) -> float:
    """Mass of a unit that the grid itself may carry at mid-span, its tiles taken off.

    Parameters
    ----------
    load_class
        Duty class; light and unknown carry no fixtures.
    span_m
        Between hangers along a main runner. [m]
    tile_mass_kg_m2
        Infill. [kg/m²]
    runner_spacing_m
        Between main runners: the strip of tiles that one carries. [m]
    runners
        Main runners that share the unit.

    Returns
    -------
    float
        Mass of a unit; 0 where the class carries none. [kg]

    Raises
    ------
    DomainError
        If a length is not positive, a mass negative, or no runner carries.

    References
    ----------
    ASTM C635/C635M-17, 4.1.3 (light duty carries no fixtures); Table 1 from memory; the point load
    is derived here.
    """
    if not (span_m > 0.0 and runner_spacing_m > 0.0 and tile_mass_kg_m2 >= 0.0 and runners >= 1):
        msg = "span and spacing must be positive, the tile mass not negative"
        raise DomainError(msg, where="grid", why="a grid has lengths and masses", do="check them")
    if load_class in {"light", "unknown"}:
        return 0.0
    free = uniform_load_kg_m(load_class) - tile_mass_kg_m2 * runner_spacing_m
    return runners * point_load_kg(uniform_kg_m=max(free, 0.0), span_m=span_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeismicSupport:
    """What a fixture needs besides the grid in a ceiling of seismic design category D, E or F.

    Parameters
    ----------
    wires
        Slack wires to the structure; 0 where the structure carries it all.
    carried_by
        ``grid`` or ``independent`` of it.
    """

    wires: int
    carried_by: Support


def seismic_support(mass_kg: float) -> SeismicSupport:
    """Say what carries a fixture in a ceiling of seismic design category D, E or F.

    Parameters
    ----------
    mass_kg
        Fixture with everything on it. [kg]

    Returns
    -------
    SeismicSupport
        One slack wire under 10 lb, two at opposite corners up to 56 lb, the structure above that.

    Raises
    ------
    DomainError
        If the mass is not positive.

    References
    ----------
    ASTM E580/E580M as city plan-check sheets retell it.

    Examples
    --------
    >>> [seismic_support(pounds * 0.45359237).wires for pounds in (9, 12, 60)]
    [1, 2, 0]
    """
    if not mass_kg > 0.0:
        msg = f"a fixture of {mass_kg} kg cannot be"
        raise DomainError(msg, where="mass_kg", why="it must be positive", do="weigh it")
    table = load_table("seismic_fixtures")
    for row in table.rows:
        below = row.get("below_lb")
        up_to = row.get("up_to_lb")
        if (below is not None and mass_kg < float(below) * POUND_KG) or (
            up_to is not None and mass_kg <= float(up_to) * POUND_KG * (1.0 + 1e-12)
        ):
            return SeismicSupport(wires=int(row["wires"]), carried_by="grid")
    return SeismicSupport(wires=0, carried_by="independent")


def is_heavy_seismic(category: str) -> bool:
    """Whether a seismic design category brings the heavier rules for fixtures.

    Parameters
    ----------
    category
        A to F, upper or lower case; empty where none was given.
    """
    return category.strip().upper()[:1] in {"D", "E", "F"}


def safety_breaking_load_n(*, mass_kg: float, factor: float) -> float:
    """Least breaking load of a safety wire.

    Parameters
    ----------
    mass_kg
        What would fall. [kg]
    factor
        Safety factor.

    Returns
    -------
    float
        Breaking load. [N]

    Examples
    --------
    >>> round(safety_breaking_load_n(mass_kg=6.0, factor=10.0))
    588
    """
    if not (mass_kg > 0.0 and factor >= 1.0):
        msg = f"{mass_kg} kg with a factor of {factor} cannot be"
        raise DomainError(
            msg, where="mass_kg, factor", why="a mass is positive, a factor at least 1", do="check"
        )
    return mass_kg * STANDARD_GRAVITY_M_S2 * factor


def safety_wire_length_m(*, to_structure_m: float, slack_m: float) -> float:
    """Length of a safety wire from a unit to its point on the structure.

    Parameters
    ----------
    to_structure_m
        From the ceiling face up to the structure. [m]
    slack_m
        To spare: it must hang slack, or it becomes the support. [m]

    Returns
    -------
    float
        Length. [m]

    Raises
    ------
    DomainError
        If the structure is not above the ceiling.
    """
    if not (to_structure_m > 0.0 and slack_m >= 0.0):
        msg = f"structure {to_structure_m} m above the ceiling, {slack_m} m slack"
        raise DomainError(
            msg, where="to_structure_m", why="the structure is above the ceiling", do="measure it"
        )
    return to_structure_m + slack_m


def surface_load_kg_m2(*, tile_mass_kg_m2: float, units_mass_kg: float, area_m2: float) -> float:
    """Mass of a ceiling with everything on it.

    Parameters
    ----------
    tile_mass_kg_m2
        Infill. [kg/m²]
    units_mass_kg
        All units on it. [kg]
    area_m2
        Its area. [m²]

    Returns
    -------
    float
        Mass per area. [kg/m²]
    """
    if not area_m2 > 0.0:
        msg = f"a ceiling of {area_m2} m² cannot be"
        raise DomainError(msg, where="area_m2", why="it must be positive", do="check the outline")
    return tile_mass_kg_m2 + units_mass_kg / area_m2
