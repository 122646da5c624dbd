"""What a plan says now and did not say before, against what people have changed meanwhile.

Three tables meet for every room: what the plan said last time (base), what it says now (new), and
what stands in job.toml (mine). A value is taken over only where mine is still base; where people
changed it, theirs stays and the difference is told.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from shapely.geometry import Polygon

from soffit.model.survey import Point

Table = Mapping[str, Any]
Step = tuple[tuple[str | int, ...], Literal["set", "append", "remove"], Any]

_CEILING_FIELDS: Final = (
    "kind",
    "height",
    "height_source",
    "structure_height",
    "outline",
    "slope",
    "tile_material",
    "grid",
)
_SAME_HEIGHT_M: Final = 0.005
_FAR_M: Final = 1.5
_REACH_M: Final = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that the plan says differently now.

    Parameters
    ----------
    room_key
        Key of the room.
    what
        The change, in words with numbers.
    kept
        Why the job is left as it is; empty if the change can be taken over.
    steps
        Edits of job.toml that take it over.
    """

    room_key: str
    what: str
    kept: str = ""
    steps: tuple[Step, ...] = field(default=(), repr=False)

    def text(self) -> str:
        """Return one line."""
        return f"{self.room_key}: {self.what}" + (f" ({self.kept})" if self.kept else "")

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON faces."""
        return {"room": self.room_key, "what": self.what, "kept": self.kept}


_YOURS: Final = "people changed it: theirs stays"


def compare_room(
    key: str,
    base: Table,
    new: Table,
    mine: Table,
    *,
    speakers: Sequence[tuple[str, Point]] = (),
    moved_m: float,
) -> list[Difference]:
    """Return the differences of one room.

    Parameters
    ----------
    key
        Its key in the job.
    base, new, mine
        Its table as the plan said it last time, as it says it now, as it stands in the job.
    speakers
        Label and place of the loudspeakers placed in it. [m]
    moved_m
        Shift from which something has moved. [m]

    Returns
    -------
    list of Difference
        In the order of the table; empty if the plan says what it said.
    """
    found = []
    for name in ("label", "use", "storey"):
        if new.get(name) != base.get(name) and new.get(name) is not None:
            what = f"{name} was {base.get(name)!r}, is {new.get(name)!r}"
            found.append(_field(key, (name,), what, base, new, mine))
    found += _outline(key, base, new, mine, moved_m)
    for name, word in (("columns", "columns"), ("doors", "doors")):
        if not _is_same_list(base.get(name), new.get(name), moved_m):
            before, after = len(base.get(name) or ()), len(new.get(name) or ())
            what = f"{word}: {before} before, {after} now" if before != after else f"{word} moved"
            found.append(_field(key, (name,), what, base, new, mine))
    found += _ceilings(key, base, new, mine)
    found += _obstacles(key, base, new, mine, speakers, moved_m)
    return found


def _field(
    key: str, path: tuple[str | int, ...], what: str, base: Table, new: Table, mine: Table
) -> Difference:
    """Return the difference of one field, taken over where people did not touch it."""
    name = path[-1]
    value = new.get(str(name))
    if mine.get(str(name)) != base.get(str(name)):
        kept = "" if mine.get(str(name)) == value else _YOURS
        return Difference(room_key=key, what=what, kept=kept)
    full = ("rooms", key, *path)
    if value is None:
        return Difference(room_key=key, what=what, steps=((full, "remove", None),))
    return Difference(room_key=key, what=what, steps=((full, "set", value),))


def _ring(table: Table) -> list[Point]:
    return [(float(x), float(y)) for x, y in table["outline"]]


def _outline(key: str, base: Table, new: Table, mine: Table, moved_m: float) -> list[Difference]:
    one, two = Polygon(_ring(base)), Polygon(_ring(new))
    shift = one.exterior.hausdorff_distance(two.exterior)
    if shift <= moved_m:
        return []
    gain = two.area - one.area
    what = f"a wall moved by {shift:.2f} m; area {one.area:.1f} -> {two.area:.1f} m² ({gain:+.1f})"
    return [_field(key, ("outline",), what, base, new, mine)]


def _is_same_list(one: Any, two: Any, slack: float) -> bool:  # noqa: ANN401 any value of a file
    if isinstance(one, float | int) and isinstance(two, float | int):
        return math.isclose(one, two, abs_tol=slack)
    if isinstance(one, list | tuple) and isinstance(two, list | tuple):
        return len(one) == len(two) and all(
            _is_same_list(a, b, slack) for a, b in zip(one, two, strict=True)
        )
    if isinstance(one, Mapping) and isinstance(two, Mapping):
        return one.keys() == two.keys() and all(_is_same_list(one[k], two[k], slack) for k in one)
    return bool(one == two) or (not one and not two)


def _ceilings(key: str, base: Table, new: Table, mine: Table) -> list[Difference]:
    before, after = list(base.get("ceilings") or ()), list(new.get("ceilings") or ())
    here = list(mine.get("ceilings") or ())
    if [item["key"] for item in before] != [item["key"] for item in after]:
        heights = " / ".join(f"{item['height']:.2f}" for item in after)
        what = f"{len(before)} ceiling(s) before, {len(after)} now: {heights} m"
        return [_field(key, ("ceilings",), what, base, new, mine)]
    places = {item.get("key"): index for index, item in enumerate(here)}
    found = []
    for old, now in zip(before, after, strict=True):
        place = places.get(old["key"])
        for name in _CEILING_FIELDS:
            if _is_same_list(old.get(name), now.get(name), _SAME_HEIGHT_M):
                continue
            what = f"{old['key']} {name.replace('_', ' ')} {_said(old, name)} -> {_said(now, name)}"
            if place is None:
                kept = f"the job has no ceiling {old['key']!r} any more"
                found.append(Difference(room_key=key, what=what, kept=kept))
            else:
                path = ("ceilings", place, name)
                found.append(_field(key, path, what, old, now, here[place]))
    return found


def _said(table: Table, name: str) -> str:
    value = table.get(name)
    if value is None:
        return "nothing"
    if isinstance(value, float | int):
        return f"{value:.3f} m"
    return value if isinstance(value, str) else "another one"


def _obstacles(
    key: str,
    base: Table,
    new: Table,
    mine: Table,
    speakers: Sequence[tuple[str, Point]],
    moved_m: float,
) -> list[Difference]:
    before, after = list(base.get("obstacles") or ()), list(new.get("obstacles") or ())
    here = list(mine.get("obstacles") or ())
    pairs, gone, come = _matched(before, after)
    places = {item.get("key"): index for index, item in enumerate(here)}
    found = []
    for old, now in pairs:
        found += _moved(key, old, now, here, places, speakers, moved_m)
    taken = {item.get("key") for item in (*here, *before)}
    for item in come:
        fresh = {**item, "key": _free(str(item["key"]), taken)}
        taken.add(fresh["key"])
        what = f"new {item['kind']} {item['label']!r} at {_at(item)}{_over(item, speakers)}"
        step: Step = (("rooms", key, "obstacles"), "append", fresh)
        if not here and not any(d.steps and d.steps[0][1] == "append" for d in found):
            step = (("rooms", key, "obstacles"), "set", [fresh])
        found.append(Difference(room_key=key, what=what, steps=(step,)))
    for item in sorted(gone, key=lambda entry: -places.get(entry["key"], -1)):
        place = places.get(item["key"])
        what = f"{item['kind']} {item['label']!r} at {_at(item)} is gone"
        if place is None:
            continue
        if not _is_same_list(_bare(here[place]), _bare(item), 1e-9):
            found.append(Difference(room_key=key, what=what, kept=_YOURS))
        else:
            path = ("rooms", key, "obstacles", place)
            found.append(Difference(room_key=key, what=what, steps=((path, "remove", None),)))
    return found


def _bare(table: Table) -> dict[str, Any]:
    return {name: value for name, value in table.items() if name not in {"note", "source", "key"}}


def _free(key: str, taken: set[Any]) -> str:
    stem = key.rstrip("0123456789")
    number = 1
    while f"{stem}{number}" in taken:
        number += 1
    return f"{stem}{number}"


def _middle(table: Table) -> Point:
    ring = _ring(table)
    return sum(x for x, _ in ring) / len(ring), sum(y for _, y in ring) / len(ring)


def _at(table: Table) -> str:
    x, y = _middle(table)
    return f"{x:.2f}, {y:.2f} m"


def _matched(
    before: list[Table], after: list[Table]
) -> tuple[list[tuple[Table, Table]], list[Table], list[Table]]:
    """Pair things of one kind and name by distance; return pairs, what is gone, what is new."""
    near = sorted(
        (math.dist(_middle(old), _middle(now)), i, j)
        for i, old in enumerate(before)
        for j, now in enumerate(after)
        if old["kind"] == now["kind"] and old.get("label") == now.get("label")
    )
    used_old: set[int] = set()
    used_new: set[int] = set()
    pairs = []
    for distance, i, j in near:
        if distance <= _FAR_M and i not in used_old and j not in used_new:
            used_old.add(i)
            used_new.add(j)
            pairs.append((i, j))
    pairs.sort()
    return (
        [(before[i], after[j]) for i, j in pairs],
        [item for i, item in enumerate(before) if i not in used_old],
        [item for j, item in enumerate(after) if j not in used_new],
    )


def _moved(
    key: str,
    old: Table,
    now: Table,
    here: list[Table],
    places: Mapping[Any, int],
    speakers: Sequence[tuple[str, Point]],
    moved_m: float,
) -> list[Difference]:
    found = []
    place = places.get(old["key"])
    shift = Polygon(_ring(old)).hausdorff_distance(Polygon(_ring(now)))
    changes = []
    if shift > moved_m:
        over = _over(now, speakers)
        changes.append(("outline", f"{old['kind']} {old['label']!r} moved by {shift:.2f} m{over}"))
    for name in ("bottom", "top"):
        if not _is_same_list(old.get(name), now.get(name), moved_m):
            words = (
                f"{old['kind']} {old['label']!r}: {name} {_said(old, name)} -> {_said(now, name)}"
            )
            changes.append((name, words))
    for name, words in changes:
        if place is None:
            kept = "people took it out of the job"
            found.append(Difference(room_key=key, what=words, kept=kept))
        else:
            found.append(_field(key, ("obstacles", place, name), words, old, now, here[place]))
    return found


def _over(table: Table, speakers: Sequence[tuple[str, Point]]) -> str:
    """Say which loudspeaker a thing now hangs over or beside."""
    from shapely.geometry import Point as PlanPoint

    shape = Polygon(_ring(table)).buffer(_REACH_M)
    hit = [label for label, place in speakers if shape.covers(PlanPoint(place))]
    return f", in the way of {', '.join(hit)}" if hit else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What tells a room from others: what names it for good, its name, storey and ground. [m]."""

    origin_id: str
    label: str
    storey_key: str
    outline: Sequence[Point]


def match_rooms(known: Mapping[str, Known], rooms: Mapping[str, Known]) -> dict[str, str]:
    """Find rooms again: by what names them for good, by name, or by the ground they cover.

    Parameters
    ----------
    known
        Rooms of the last reading by key.
    rooms
        Rooms read now by key.

    Returns
    -------
    dict
        Key that was known for each key read now.
    """
    found: dict[str, str] = {}
    free = dict(known)
    for rule in (_by_origin, _by_label, _by_ground):
        for key, room in rooms.items():
            if key in found:
                continue
            hits = [old for old, entry in free.items() if rule(entry, room)]
            if len(hits) == 1:
                found[key] = hits[0]
                del free[hits[0]]
    return found


def _by_origin(one: Known, two: Known) -> bool:
    is_same = bool(one.origin_id) and one.origin_id == two.origin_id
    # a name and a place of a drawing names a room of its storey; every floor has an Office 1 there
    return is_same and ("@" not in one.origin_id or one.storey_key == two.storey_key)


def _by_label(one: Known, two: Known) -> bool:
    is_same = one.label.casefold() == two.label.casefold()
    return bool(one.label) and is_same and one.storey_key == two.storey_key


def _by_ground(one: Known, two: Known) -> bool:
    if one.storey_key != two.storey_key:
        return False
    a, b = Polygon(one.outline), Polygon(two.outline)
    if not (a.is_valid and b.is_valid):
        return False
    return bool(a.intersection(b).area > 0.6 * a.union(b).area)
