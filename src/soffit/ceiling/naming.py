"""Names of places as a person overhead finds them: counted in tiles, or measured, from walls."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soffit.ceiling.plane import Ring, WallHit, first_wall
from soffit.ceiling.tiles import TileField

_OBLIQUE_RAD = float(np.radians(30.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorPoint:
    """A door as far as names need it.

    Parameters
    ----------
    position
        Its middle, on or near the outline. [m]
    label
        Its name; empty or ``door`` for the only one.
    """

    position: tuple[float, float]
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FromWall:
    """How far a place is from one wall.

    Parameters
    ----------
    wall
        Its name.
    distance_m
        From the wall to the middle of the place. [m]
    full_tiles
        Which full tile it is, counted from that wall, 1 the first; 0 if it is cut by that wall or
        there is no grid.
    """

    wall: str
    distance_m: float
    full_tiles: int = 0


def ordinal(number: int) -> str:
    """Write a count as people say it.

    Parameters
    ----------
    number
        1, 2, 3, ...

    Returns
    -------
    str
        ``1st``, ``2nd``, ``11th``.

    Examples
    --------
    >>> [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 112)]
    ['1st', '2nd', '3rd', '4th', '11th', '12th', '13th', '21st', '112th']
    """
    if 10 <= number % 100 <= 20:
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"


def wall_names(
    outline: Ring,
    *,
    given: Sequence[str] = (),
    doors: Sequence[DoorPoint] = (),
    north_angle_rad: float = np.pi / 2.0,
) -> tuple[str, ...]:
    """Name every wall of a room so that a person in it knows which is meant.

    Parameters
    ----------
    outline : (n_walls, 2)
        Corners of the room. [m]
    given
        Names that the survey has, in the order of the outline's edges; may be shorter, may be
        empty for some.
    doors
        Doors; the first one is where a person comes in.
    north_angle_rad
        Direction of north, from the plan's x axis. [rad]

    Returns
    -------
    (n_walls,)
        One name each, all different: as given; else ``door wall``; else left, right, far and near
        as seen by a person who comes in by the first door; else by the compass.
    """
    corners = np.asarray(outline, dtype=np.float64)
    names = [given[edge].strip() if edge < len(given) else "" for edge in range(len(corners))]
    door_edges = [_edge_of(door.position, corners) for door in doors]
    for edge, door in zip(door_edges, doors, strict=True):
        if not names[edge]:
            names[edge] = f"{_door_words(door.label)} wall"
    outward = _outward(corners)
    inward = -outward[door_edges[0]] if door_edges else None
    for edge, name in enumerate(names):
        if not name:
            names[edge] = _side(outward[edge], inward, north_angle_rad)
    return _distinct(names)


def _door_words(label: str) -> str:
    """Return what a person would call the wall of a door: no numbers of a model, no word twice.

    Examples
    --------
    >>> [_door_words(label) for label in ("A101 Foyer door", "street door", "Door 171975", "door")]
    ['A101 Foyer', 'street', 'door', 'door']
    """
    words = [word for word in label.split() if not (word.isdigit() and len(word) > 3)]
    while words and words[-1].casefold() in {"door", "doors", "wall"}:
        words.pop()
    return " ".join(words) or "door"


def _edge_of(position: tuple[float, float], corners: np.ndarray) -> int:
    steps = np.roll(corners, -1, axis=0) - corners
    offset = np.asarray(position) - corners
    lengths = np.maximum((steps**2).sum(axis=1), 1e-12)
    share = np.clip((offset * steps).sum(axis=1) / lengths, 0.0, 1.0)
    return int(np.argmin(((offset - share[:, None] * steps) ** 2).sum(axis=1)))


def _outward(corners: np.ndarray) -> np.ndarray:
    steps = np.roll(corners, -1, axis=0) - corners
    after = np.roll(corners, -1, axis=0)
    area = float((corners[:, 0] * after[:, 1] - after[:, 0] * corners[:, 1]).sum())
    normal = np.stack([steps[:, 1], -steps[:, 0]], axis=1) * (1.0 if area >= 0.0 else -1.0)
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None])


def _side(outward: np.ndarray, inward: np.ndarray | None, north_angle_rad: float) -> str:
    bearing = float(np.arctan2(outward[1], outward[0]))
    if inward is None:
        turn = (north_angle_rad - bearing) % (2.0 * np.pi)
        points = ("north", "north-east", "east", "south-east", "south", "south-west", "west")
        return f"{(*points, 'north-west')[round(turn / (np.pi / 4.0)) % 8]} wall"
    turn = (bearing - float(np.arctan2(inward[1], inward[0]))) % (2.0 * np.pi)
    return f"{('far', 'left', 'near', 'right')[round(turn / (np.pi / 2.0)) % 4]} wall"


def _distinct(names: Sequence[str]) -> tuple[str, ...]:
    seen: dict[str, int] = {}
    result = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        number = seen[name]
        result.append(name if number == 1 else f"{ordinal(number)} {name}")
    return tuple(result)


def place_from_walls(
    point: tuple[float, float],
    *,
    rings: Sequence[Ring],
    names: Sequence[str],
    angle_rad: float = 0.0,
    field: TileField | None = None,
) -> tuple[FromWall, ...]:
    """Say how far a place is from the nearest wall along each axis of the ceiling.

    Parameters
    ----------
    point
        Plan position. [m]
    rings
        Outline first, then the holes. [m]
    names
        Name of each wall of the outline.
    angle_rad
        Direction of the axes; a field's own angle goes before it. [rad]
    field
        Tiles, to count them; ``None`` where there is no grid.

    Returns
    -------
    tuple of FromWall
        One along each axis that meets a wall, the nearer in tiles first; a room's own wall is
        preferred to a column's, a straight look to a slanting one.
    """
    angle = field.grid.angle_rad if field is not None else angle_rad
    found = []
    for axis in (0, 1):
        sides = [_towards(point, rings, names, angle, field, (axis, sign)) for sign in (1, -1)]
        best = min((side for side in sides if side is not None), default=None, key=lambda s: s[0])
        if best is not None:
            found.append(best)
    return tuple(place for _, place in sorted(found, key=lambda side: side[0]))


_Rank = tuple[bool, bool, int, float]


def _towards(
    point: tuple[float, float],
    rings: Sequence[Ring],
    names: Sequence[str],
    angle_rad: float,
    field: TileField | None,
    axis_sign: tuple[int, int],
) -> tuple[_Rank, FromWall] | None:
    axis, sign = axis_sign
    along = angle_rad + axis * np.pi / 2.0
    direction = (sign * float(np.cos(along)), sign * float(np.sin(along)))
    hit = first_wall(point, direction=direction, rings=rings)
    if hit is None:
        return None
    count = 0 if field is None else _count(field, point, hit, axis_sign)
    name = names[hit.edge] if hit.ring == 0 else "column"
    place = FromWall(wall=name, distance_m=hit.distance_m, full_tiles=count)
    rank = (hit.ring > 0, hit.obliquity_rad > _OBLIQUE_RAD, count, round(hit.distance_m, 6))
    return rank, place


def _count(
    field: TileField, point: tuple[float, float], hit: WallHit, axis_sign: tuple[int, int]
) -> int:
    """Count tiles from the first full one at the wall to this one; 0 if this one is cut there.

    A tile that a column cuts on the way is counted: a person overhead counts places, not tiles.
    """
    axis, sign = axis_sign
    column, row = field.tile_at(point)
    own = field.index(column, row)
    pitch = (field.grid.pitch_x_m, field.grid.pitch_y_m)[axis]
    if own is None or not (field.is_full[own] or hit.distance_m > pitch):
        return 0
    count = 1
    for step in range(1, int(hit.distance_m / pitch) + 2):
        shift = (sign * step, 0) if axis == 0 else (0, sign * step)
        other = field.index(column + shift[0], row + shift[1])
        if other is None:
            break
        if field.is_full[other]:
            count = step + 1
    return count


def tile_text(places: Sequence[FromWall], *, is_full: bool = True) -> str:
    """Write a tile's place as a person overhead counts it.

    Parameters
    ----------
    places
        From :func:`place_from_walls` with a field.
    is_full
        Whether the tile itself is uncut.

    Returns
    -------
    str
        Such as ``4th full tile from the door wall, 2nd from the window wall``.

    Examples
    --------
    >>> tile_text([FromWall(wall="door wall", distance_m=2.1, full_tiles=4),
    ...            FromWall(wall="window wall", distance_m=0.9, full_tiles=2)])
    '4th full tile from the door wall, 2nd from the window wall'
    """
    if not places:
        return "no wall near by to count from"
    parts = []
    for number, place in enumerate(places):
        if place.full_tiles == 0:
            parts.append(f"cut tile at the {place.wall}" if not is_full else f"at the {place.wall}")
        else:
            noun = " full tile" if number == 0 or not is_full else ""
            parts.append(f"{ordinal(place.full_tiles)}{noun} from the {place.wall}")
    return ", ".join(parts)
