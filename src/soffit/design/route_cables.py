"""Which cables a line may be made of: system of sizes, jacket for the space, one entry a size."""

from collections.abc import Sequence

from soffit.circuit.wiring_class import (
    Space,
    jacket_serves_class,
    jacket_serves_space,
    read_jacket,
)
from soffit.errors import NoSolutionError
from soffit.evaluate.line import cable_ohm_m
from soffit.model.catalogue import CableType, Catalogue
from soffit.model.decisions import Survey


def cables_for(survey: Survey, catalogue: Catalogue, *, space: Space) -> tuple[CableType, ...]:
    """Choose the cables that a line may be made of.

    Parameters
    ----------
    survey
        Equipment, line voltage, and whether the job is imperial.
    catalogue
        All cable types.
    space
        Kind of void that the line passes.

    Returns
    -------
    tuple of CableType
        One a size, thickest first. Where no jacket serves the space, all sizes are offered and
        the check says so.

    Raises
    ------
    NoSolutionError
        If the job allows no pair of copper with two cores for its voltage.
    """
    wanted = survey.equipment.cable_types
    allowed = [
        cable
        for cable in catalogue.cable_types
        if (not wanted or cable.id in wanted)
        and cable.cores >= 2
        and cable.voltage_rating_v >= survey.site.line_voltage_v
    ]
    if not wanted:
        system = "AWG" if survey.site.is_imperial else "mm2"
        allowed = [cable for cable in allowed if cable.gauge_system == system] or allowed
        plain = [cable for cable in allowed if cable.material != "copper-clad aluminium"]
        allowed = plain or allowed
    if not allowed:
        msg = f"no cable of the catalogue may carry {survey.site.line_voltage_v:.1f} V"
        raise NoSolutionError(
            msg,
            where="equipment.cable_types",
            why=f"allowed are {', '.join(wanted) or 'all of the catalogue'}",
            do="allow a cable type with two cores and enough rated voltage",
        )
    return _one_a_size(_fitting(allowed, space))


def _fitting(allowed: Sequence[CableType], space: Space) -> list[CableType]:
    for_space = [
        cable for cable in allowed if jacket_serves_space(cable.jacket, space) is not False
    ] or list(allowed)
    for_class = [
        cable for cable in for_space if jacket_serves_class(cable.jacket, "3") is not False
    ] or for_space
    return _one_family(for_class)


def _one_family(cables: Sequence[CableType]) -> list[CableType]:
    """Keep one kind of cable where jackets carry a reaction-to-fire class: the best class.

    Euroclasses of EN 13501-6 sort from Aca to Fca, so the first by name is the best; which one a
    building must have is national, and the check names it.
    """
    classed = sorted({cable.jacket for cable in cables if _euroclass(cable.jacket)})
    if not classed or any(read_jacket(cable.jacket) for cable in cables):
        return list(cables)
    best = [cable for cable in cables if cable.jacket == classed[0]]
    conductor = sorted({cable.conductor for cable in best})[0]
    return [cable for cable in best if cable.conductor == conductor]


def _euroclass(jacket: str) -> str:
    """First part of a reaction-to-fire mark such as ``Cca-s1,d1,a1``; empty if it is none."""
    first = jacket.split("-", maxsplit=1)[0]
    return first if first.endswith("ca") and first[:1] in "ABCDEF" else ""


def _one_a_size(cables: Sequence[CableType]) -> tuple[CableType, ...]:
    """Keep the plainest jacket of each size, thickest size first."""
    rank = {"general": 0, "riser": 1, "plenum": 2}
    best: dict[float, CableType] = {}

    def plainness(cable: CableType) -> tuple[int, float, str]:
        jacket = read_jacket(cable.jacket)
        return (rank[jacket.space] if jacket else 0, cable.outer_diameter_m, cable.id)

    for cable in cables:
        size = round(cable_ohm_m(cable, conductor_degc=20.0), 9)
        if size not in best or plainness(cable) < plainness(best[size]):
            best[size] = cable
    return tuple(best[size] for size in sorted(best))
