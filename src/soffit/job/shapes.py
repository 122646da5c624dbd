"""Plan shapes of a file as rings: closed, simple, counter-clockwise, with area."""

import math
from collections.abc import Sequence
from functools import cache
from typing import Any, Final

from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.schema import ShapeEntry
from soffit.model.survey import Point, Ring

CIRCLE_CORNERS: Final = 32
"""Corners of the polygon that stands for a circle: its area is 0.6 % small."""

_SAME_M: Final = 1e-6
_LARGEST_M: Final = 1e5

_FARTHEST_M: Final = 1e8
"""Farther from the origin than any national grid of coordinates reaches. [m]"""

_FORMS: Final = "a shape is corner and size, or at and diameter, or outline"


def point(values: Sequence[float]) -> Point:
    """Return the first two of a list as a plan point.

    Parameters
    ----------
    values : (2,)
        x and y. [m]
    """
    return (values[0], values[1])


def signed_area_m2(ring: Sequence[Point]) -> float:
    """Return the area of a ring, positive if its corners run counter-clockwise. [m²].

    Parameters
    ----------
    ring
        Corners. [m]
    """
    following = [*ring[1:], *ring[:1]]
    return 0.5 * sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, following, strict=True))


def circle(centre: Point, diameter_m: float) -> Ring:
    """Return the polygon that stands for a circle.

    Parameters
    ----------
    centre
        Middle. [m]
    diameter_m
        Diameter. [m]
    """
    radius = diameter_m / 2
    turns = [2 * math.pi * index / CIRCLE_CORNERS for index in range(CIRCLE_CORNERS)]
    return tuple(
        (centre[0] + radius * math.cos(turn), centre[1] + radius * math.sin(turn)) for turn in turns
    )


def has_shape(entry: ShapeEntry) -> bool:
    """Return whether an entry states any part of a shape."""
    parts = (entry.corner, entry.size, entry.at, entry.diameter, entry.outline)
    return any(part is not None for part in parts)


def _is_positive(problems: Problems, path: Path, sizes: Sequence[float]) -> bool:
    if all(size > 0 for size in sizes):
        return True
    problems.add(
        path,
        f"a side of {min(sizes):g} m makes no shape",
        why="sizes are lengths greater than 0",
        do="write the size as measured",
    )
    return False


def read_ring(problems: Problems, path: Path, entry: ShapeEntry) -> Ring | None:
    """Read the shape of an entry.

    Parameters
    ----------
    problems
        Where to collect what is wrong.
    path
        Path of the entry.
    entry
        Something with a shape.

    Returns
    -------
    tuple or None
        Counter-clockwise corners; ``None`` if there is a problem. [m]
    """
    box = entry.corner is not None or entry.size is not None
    disc = entry.at is not None or entry.diameter is not None
    outline = entry.outline is not None
    if box + disc + outline != 1:
        what = "no shape" if not (box or disc or outline) else "more than one shape"
        problems.add(path, f"{what} is given", why=_FORMS, do="give exactly one of the three")
        return None
    ring: Ring | None = None
    if entry.outline is not None:
        corners = [point(p) for p in entry.outline]
        if _is_on_earth(problems, (*path, "outline"), corners):
            ring = _clean_outline(problems, (*path, "outline"), corners)
    elif entry.corner is not None and entry.size is not None:
        (x, y), (width, depth) = point(entry.corner), point(entry.size)
        if _is_positive(problems, (*path, "size"), (width, depth)):
            ring = ((x, y), (x + width, y), (x + width, y + depth), (x, y + depth))
    elif entry.at is not None and entry.diameter is not None:
        if _is_positive(problems, (*path, "diameter"), (entry.diameter,)):
            ring = circle(point(entry.at), entry.diameter)
    else:
        missing = [
            name
            for name, other in (
                ("corner", "size"),
                ("size", "corner"),
                ("at", "diameter"),
                ("diameter", "at"),
            )
            if getattr(entry, name) is None and getattr(entry, other) is not None
        ]
        problems.add(path, f"{missing[0]} is missing", why=_FORMS, do=f"add {missing[0]}")
    if ring is not None and max(abs(value) for corner in ring for value in corner) > _LARGEST_M:
        problems.add(
            path,
            "a corner lies further than 100 km from the origin",
            why="plan coordinates are metres, or texts with their unit",
            do="write the unit beside the number",
        )
        return None
    return ring


def _clean_outline(problems: Problems, path: Path, corners: list[Point]) -> Ring | None:
    ring: list[Point] = []
    for corner in corners:
        if not ring or math.dist(corner, ring[-1]) > _SAME_M:
            ring.append(corner)
    while len(ring) > 1 and math.dist(ring[0], ring[-1]) <= _SAME_M:
        ring.pop()
    if len(ring) < 3:
        problems.add(
            path,
            f"{len(ring)} different corners make no outline",
            why="an outline needs at least three",
            do="add the missing corners",
        )
        return None
    if crossing := crossing_of(tuple(ring)):
        problems.add(
            path,
            f"the outline crosses itself near x {crossing[0]:.3f} m, y {crossing[1]:.3f} m",
            why="corners must follow the wall once round",
            do="put the corners in the order in which you walk past them",
        )
        return None
    area = signed_area_m2(ring)
    if abs(area) < 1e-6:
        problems.add(
            path,
            "the outline has no area",
            why="all its corners lie on one line",
            do="add the corners that are off this line",
        )
        return None
    return tuple(ring) if area > 0 else turned(tuple(ring))


def turned(ring: Ring) -> Ring:
    """Return a ring run the other way round, beginning at the same corner."""
    return (ring[0], *reversed(ring[1:]))


def is_turned(entry: ShapeEntry) -> bool:
    """Return whether the outline of an entry runs clockwise in the file."""
    if entry.outline is None:
        return False
    return signed_area_m2([point(p) for p in entry.outline]) < 0


def _is_on_earth(problems: Problems, path: Path, corners: Sequence[Point]) -> bool:
    """Whether coordinates are some that a survey can have, national grids included."""
    farthest = max((abs(value) for corner in corners for value in corner), default=0.0)
    if farthest <= _FARTHEST_M:
        return True
    problems.add(
        path,
        f"a corner lies {farthest:g} m from the origin",
        why=f"plan coordinates reach {_FARTHEST_M:g} m at most",
        do="check the unit of the coordinates",
    )
    return False


def crossing_of(ring: Ring) -> Point | None:
    """Return where a ring crosses or touches itself, if it does.

    Parameters
    ----------
    ring
        Corners. [m]

    Returns
    -------
    tuple or None
        Place. [m]
    """
    import re  # noqa: PLC0415 - with shapely, only where an outline is not a rectangle

    from shapely import is_valid_reason  # noqa: PLC0415 - shapely is slow to import

    reason = str(is_valid_reason(_polygon(ring)))
    found = re.search(r"\[(\S+) (\S+)\]", reason)
    if reason == "Valid Geometry" or found is None:
        return None
    # collinear rings are "too few points" or self-intersecting: left to the test of their area
    if abs(signed_area_m2(ring)) < 1e-6 and _is_straight(ring):
        return None
    return (float(found[1]), float(found[2]))


def _is_straight(ring: Ring) -> bool:
    (x0, y0), (x1, y1) = ring[0], max(ring, key=lambda corner: math.dist(corner, ring[0]))
    return all(abs((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) < 1e-6 for x, y in ring)


@cache
def _polygon(ring: Ring) -> Any:  # noqa: ANN401 - shapely is only imported here
    from shapely.geometry import Polygon  # noqa: PLC0415 - shapely is slow to import

    return Polygon(ring)


def is_inside(outer: Ring, inner: Ring, *, slack_m: float = 0.01) -> bool:
    """Return whether a ring lies inside another.

    Parameters
    ----------
    outer, inner
        Rings. [m]
    slack_m
        How far it may stick out: surveys are not exact. [m]
    """
    if _is_box(outer):
        xs, ys = [x for x, _ in outer], [y for _, y in outer]
        return all(
            min(xs) - slack_m <= x <= max(xs) + slack_m
            and min(ys) - slack_m <= y <= max(ys) + slack_m
            for x, y in inner
        )
    return bool(_polygon(outer).buffer(slack_m).covers(_polygon(inner)))


def _is_box(ring: Ring) -> bool:
    if len(ring) != 4:
        return False
    return len({x for x, _ in ring}) == 2 and len({y for _, y in ring}) == 2


def distance_to_outline_m(ring: Ring, at: Point) -> float:
    """Return the distance of a point from the nearest wall. [m].

    Parameters
    ----------
    ring
        Outline. [m]
    at
        Point. [m]
    """
    ends = [*ring[1:], ring[0]]
    return min(_distance_to_edge(at, a, b) for a, b in zip(ring, ends, strict=True))


def _distance_to_edge(at: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    along = ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / (dx * dx + dy * dy)
    along = min(1.0, max(0.0, along))
    return math.dist(at, (a[0] + along * dx, a[1] + along * dy))


def contains(ring: Ring, at: Point, *, slack_m: float = 0.01) -> bool:
    """Return whether a point lies in a ring or within a little of its outline.

    Parameters
    ----------
    ring
        Outline. [m]
    at
        Point. [m]
    slack_m
        How far outside it may lie. [m]
    """
    inside = False
    for (x0, y0), (x1, y1) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (y0 > at[1]) != (y1 > at[1]) and at[0] < x0 + (at[1] - y0) / (y1 - y0) * (x1 - x0):
            inside = not inside
    return inside or distance_to_outline_m(ring, at) <= slack_m


def extent_m(ring: Ring) -> tuple[float, float]:
    """Return width and depth of a ring's bounding box. [m]."""
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return max(xs) - min(xs), max(ys) - min(ys)
