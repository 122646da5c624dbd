"""Turn the materials that a job enters itself into records, each value checked."""

from collections.abc import Mapping, Sequence
from typing import Final

from soffit.errors import TableError
from soffit.job.assume import Assumptions
from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.schema import MaterialEntry, SurfaceEntry
from soffit.model.survey import Material, Surface
from soffit.tables.load import load_table

BANDS: Final = ("63", "125", "250", "500", "1k", "2k", "4k", "8k")
MOST_ABSORPTION: Final = 1.2
"""Largest coefficient that a reverberation room plausibly gives; common practice, no source."""

MOST_OBJECT_M2: Final = 20.0
"""Largest absorption area of one object. [m²]"""


_MOST_AREA: Final[Mapping[str, float]] = {
    "floor": 1.05,
    "ceiling": 1.5,
    "walls": 1.5,
    "furniture": 3.0,
}
"""Largest stated area over that of the plain part (furniture: of the floor); steps, slopes, beams
and niches add some; common practice, no source."""


def known_materials() -> frozenset[str]:
    """Return the ids of the table of surfaces, or none if it is not as expected."""
    try:
        table = load_table("absorption")
    except TableError:
        return frozenset()
    return frozenset(row["material"] for row in table.rows)


def known_objects() -> frozenset[str]:
    """Return the ids of the table of objects, which absorb by the piece."""
    try:
        table = load_table("absorption_objects")
    except TableError:
        return frozenset()
    return frozenset(row["object"].replace(" ", "_") for row in table.rows)


def build_materials(
    problems: Problems, made: Assumptions, entries: Mapping[str, MaterialEntry]
) -> tuple[Material, ...]:
    """Return the job's own materials, by id.

    Parameters
    ----------
    problems
        Where to collect what is wrong.
    made
        Where to note what was taken for octaves that nobody stated, and values above 1.
    entries
        Tables ``[materials.<id>]``.

    Returns
    -------
    tuple of Material
        Complete ones alone.
    """
    found = (_material(problems, made, key, entries[key]) for key in sorted(entries))
    return tuple(material for material in found if material is not None)


def _material(
    problems: Problems, made: Assumptions, key: str, entry: MaterialEntry
) -> Material | None:
    path: Path = ("materials", key)
    if (entry.absorption is None) == (entry.each is None):
        problems.add(
            path,
            f"material {key!r} states {'neither' if entry.each is None else 'both'}"
            " absorption and each",
            why="absorption is a ratio per area, each an area in m² per object",
            do="keep the one that the source gives",
        )
        return None
    name = "absorption" if entry.absorption is not None else "each"
    values = entry.absorption or entry.each or []
    most = MOST_ABSORPTION if name == "absorption" else MOST_OBJECT_M2
    if not _are_possible(problems, (*path, name), values, most):
        return None
    label = entry.label or key
    if len(values) == 6:
        made.add(
            (*path, name),
            f"{label}: 63 Hz is taken as 125 Hz and 8 kHz as 4 kHz",
        )
        values = [values[0], *values, values[-1]]
    if name == "each":
        return Material(id=key, label=label, object_m2=tuple(values), source=entry.source)
    above = [band for band, value in zip(BANDS, values, strict=True) if value > 1.0]
    if above:
        made.add(
            (*path, name),
            f"{label}: {max(values):.2f} at most, measured in a reverberation room, is computed"
            f" as 1 at {', '.join(above)} Hz",
            source="common practice, no source: edges of a sample absorb more than its area",
        )
    return Material(id=key, label=label, absorption_ratio=tuple(values), source=entry.source)


def _are_possible(problems: Problems, path: Path, values: list[float], most: float) -> bool:
    if len(values) not in {6, 8}:
        problems.add(
            path,
            f"{len(values)} values for 6 or 8 octaves",
            why="125 Hz to 4 kHz are six octaves, 63 Hz to 8 kHz are eight",
            do="give six or eight values in this order",
        )
        return False
    wrong = [(i, value) for i, value in enumerate(values) if not 0.0 <= value <= most]
    bands = BANDS if len(values) == 8 else BANDS[1:-1]
    for index, value in wrong:
        what = "an absorption coefficient" if path[-1] == "absorption" else "an area of one object"
        problems.add(
            (*path, index),
            f"{value:g} at {bands[index]} Hz is not possible",
            why=f"{what} lies between 0 and {most:g}"
            + (" (above 1 only from a reverberation room)" if path[-1] == "absorption" else " m²"),
            do="write the value of the source; 45 % is 0.45",
        )
    return not wrong


def build_surface(
    problems: Problems, path: Path, entry: SurfaceEntry, own: Mapping[str, Material]
) -> Surface:
    """Return one surface or number of objects of a room.

    Parameters
    ----------
    problems
        Where to collect what is wrong.
    path
        Path of the surface.
    entry
        Its table.
    own
        The job's own materials by id; they go before the tables.
    """
    material = own.get(entry.material)
    surfaces, objects = known_materials(), known_objects()
    counted = bool(material.object_m2) if material else entry.material in objects - surfaces
    if material is None and surfaces and entry.material not in surfaces | objects:
        problems.unknown(
            (*path, "material"), entry.material, surfaces | objects | own.keys(), "material"
        )
    elif counted:
        _check_objects(problems, path, entry)
    elif entry.count is not None:
        problems.add(
            (*path, "count"),
            f"{entry.material} is counted, but it absorbs by area",
            why="only objects whose absorption is stated for each one are counted",
            do="give area instead, or a material with each",
        )
    return Surface(
        part=entry.part,
        material=entry.material,
        area_m2=entry.area,
        count=entry.count,
        absorption_ratio=material.absorption_ratio if material else (),
        object_m2=material.object_m2 if material else (),
    )


def _check_objects(problems: Problems, path: Path, entry: SurfaceEntry) -> None:
    if entry.part != "furniture":
        problems.add(
            (*path, "part"),
            f"{entry.material} is an object and cannot cover the {entry.part}",
            why="objects such as persons and seats are furniture",
            do='write part = "furniture"',
        )
    if entry.count is None or entry.area is not None:
        problems.add(
            (*path, "area" if entry.area is not None else "material"),
            f"{entry.material} needs a count and no area",
            why="its absorption is stated for one object",
            do="write count, the number of them",
        )


def check_areas(
    problems: Problems,
    path: Path,
    entries: Sequence[SurfaceEntry],
    *,
    floor_m2: float,
    walls_m2: float,
) -> None:
    """Note parts whose stated areas are more than the room has.

    Parameters
    ----------
    problems
        Where to collect.
    path
        Path of the list of surfaces.
    entries
        Its tables.
    floor_m2, walls_m2
        Area of floor, and of all walls. [m²]
    """
    whole = {"floor": floor_m2, "ceiling": floor_m2, "walls": walls_m2, "furniture": floor_m2}
    for part, plain in whole.items():
        stated = [(i, entry.area) for i, entry in enumerate(entries) if entry.part == part]
        areas = [(index, area) for index, area in stated if area is not None]
        total = sum(area for _, area in areas)
        if areas and plain > 0.0 and total > _MOST_AREA[part] * plain + 0.01:
            problems.add(
                (*path, areas[-1][0], "area"),
                f"surfaces of {part} add up to {total:.1f} m²",
                why=f"the room has {plain:.1f} m² of "
                + ("floor" if part == "furniture" else part)
                + f", and at most {_MOST_AREA[part]:g} times that is believed",
                do="check the areas and their units, and the outline of the room",
            )
