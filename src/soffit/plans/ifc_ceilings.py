"""Ceilings over a space: lowest covering by region, else slab, else the top of the space."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from shapely import STRtree
from shapely.geometry import Polygon

from soffit.model.survey import HeightSource
from soffit.plans.ceiling_words import ceiling_kind, tile_size_m
from soffit.plans.ifc_model import Mesh, Mesher, names_of
from soffit.plans.ifc_surfaces import Plane, flat_parts
from soffit.plans.proposal import CeilingKind, CeilingProposal, ReadWishes
from soffit.plans.shape import clean_polygons, ring_of, without_holes
from soffit.plans.usual import usual_ceiling

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

_LEAST_HEIGHT_M: Final = 1.5
_OVER_TOP_M: Final = 1.0
_STRUCTURE_REACH_M: Final = 3.0
_LEAST_PART_M2: Final = 0.5
_LEAST_PART_RATIO: Final = 0.03
_STRIP_M: Final = 0.15
_SAME_M: Final = 0.02
_MOST_CEILINGS: Final = 8
_SLOPED: Final = 0.02
_OPENING_M2: Final = 2.5
_CEILING_WORDS: Final = (
    "ceiling",
    "decke",
    "plafond",
    "soffit",
    "soffitto",
    "techo",
    "tavan",
    "himling",
    "innertak",
    "teto",
    "strop",
    "sufit",
    "потол",
    "天井",
    "天花",
    "吊顶",
    "천장",
)
_NO_CEILING: Final = ("finish floor", "flooring", "fussboden")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """An underside that may be the ceiling of a space.

    Parameters
    ----------
    plane
        Where it is and its level. [m]
    name
        What the model calls it.
    names
        All names that may tell its kind.
    is_structure
        A slab or roof, not a ceiling.
    openings
        Holes in it for lights, hatches and the like. [m]
    """

    plane: Plane
    name: str
    names: tuple[str, ...]
    is_structure: bool
    openings: tuple[Polygon, ...] = ()


@dataclass(slots=True)
class Part:
    """A part of a room under one ceiling."""

    shape: "BaseGeometry"
    plane: Plane
    height_m: float
    source: HeightSource
    text: str
    kind: CeilingKind
    kind_text: str
    names: tuple[str, ...] = ()
    structure_m: float | None = field(default=None)


def covers(model: Any, mesher: Mesher) -> Iterator[Cover]:  # noqa: ANN401 untyped library
    """Yield the undersides of all ceiling coverings, slabs and roofs.

    Parameters
    ----------
    model
        The model.
    mesher
        Gives shapes.

    Yields
    ------
    Cover
        One for each flat part.
    """
    for element in [*model.by_type("IfcCovering"), *model.by_type("IfcSlab")]:
        names = names_of(element)
        is_ceiling = _is_ceiling(element, names)
        is_slab = element.is_a("IfcSlab") and _kind(element) not in {"BASESLAB", "LANDING"}
        if not (is_ceiling or is_slab):
            continue
        mesh = mesher.mesh(element)
        if mesh is None:
            continue
        for plane in flat_parts(mesh, up=False):
            whole, openings = _without_openings(plane) if is_ceiling else (plane, ())
            yield Cover(
                plane=whole,
                openings=openings,
                name=names[0] if names else element.is_a(),
                names=tuple(names),
                is_structure=not is_ceiling,
            )


def _without_openings(plane: Plane) -> tuple[Plane, tuple[Polygon, ...]]:
    """Close the small holes of a ceiling and return them apart."""
    small = [ring for ring in plane.outline.interiors if Polygon(ring).area <= _OPENING_M2]
    if not small:
        return plane, ()
    large = [ring for ring in plane.outline.interiors if Polygon(ring).area > _OPENING_M2]
    outline = Polygon(plane.outline.exterior, large)
    return replace(plane, outline=outline), tuple(Polygon(ring) for ring in small)


def _kind(element: Any) -> str:  # noqa: ANN401 untyped library
    return str(getattr(element, "PredefinedType", None) or "").upper()


def _is_ceiling(element: Any, names: Sequence[str]) -> bool:  # noqa: ANN401 untyped library
    kind = _kind(element)
    if element.is_a("IfcCovering") and kind == "CEILING":
        return True
    if kind not in {"", "NOTDEFINED", "USERDEFINED", "FLOOR"}:
        return False
    words = " ".join(names).lower()
    return any(word in words for word in _CEILING_WORDS) and not any(
        word in words for word in _NO_CEILING
    )


class CeilingFinder:
    """Finds ceilings over spaces among all undersides of a model."""

    def __init__(self, found: Iterable[Cover], wishes: ReadWishes) -> None:
        self._covers = list(found)
        self._wishes = wishes
        self._tree = STRtree([cover.plane.outline for cover in self._covers])

    def over(
        self, shape: Polygon, floor_m: float, mesh: Mesh, use: str
    ) -> tuple[tuple[CeilingProposal, ...], list[str], list[str]]:
        """Return the ceilings of a space.

        Parameters
        ----------
        shape
            Plan of the space. [m]
        floor_m
            Level of its floor. [m]
        mesh
            Its body.
        use
            Its use and name, by which a kind of ceiling is assumed.

        Returns
        -------
        tuple
            Ceilings, the largest first; doubts; assumptions.
        """
        near = [self._covers[index] for index in self._tree.query(shape)]
        parts, left = self._covered(near, shape, floor_m, mesh.high, is_structure=False)
        if not _is_rest(left, shape):
            left = Polygon()
        if not left.is_empty:
            more, left = self._covered(near, left, floor_m, mesh.high, is_structure=True)
            parts += more
        if not parts or _is_rest(left, shape):
            parts += self._tops(left if parts else shape, floor_m, mesh, use)
        for part in parts:
            part.structure_m = _structure(near, part, floor_m)
        return self._proposals(_joined(parts), shape, floor_m)

    def openings(self, shape: Polygon, floor_m: float, top_m: float) -> list[tuple[Polygon, float]]:
        """Return the holes in the ceilings over a space, each with the height of its ceiling.

        Parameters
        ----------
        shape
            Plan of the space. [m]
        floor_m, top_m
            Levels of its floor and top. [m]
        """
        found = []
        for index in self._tree.query(shape):
            cover = self._covers[index]
            for hole in cover.openings:
                middle = hole.centroid
                height = cover.plane.level_at(middle.x, middle.y) - floor_m
                is_here = _LEAST_HEIGHT_M < height < top_m - floor_m + _OVER_TOP_M
                if is_here and shape.covers(middle):
                    found.append((hole, height))
        return found

    def _covered(
        self,
        near: list[Cover],
        shape: "BaseGeometry",
        floor_m: float,
        top_m: float,
        *,
        is_structure: bool,
    ) -> tuple[list[Part], "BaseGeometry"]:
        """Take the lowest underside over each part of a shape; return the parts and the rest."""
        whole = shape.area
        ranked = []
        for cover in near:
            if cover.is_structure != is_structure:
                continue
            common = cover.plane.outline.intersection(shape)
            if common.area < min(_LEAST_PART_M2, 0.2 * whole):
                continue
            middle = common.representative_point()
            level = cover.plane.level_at(middle.x, middle.y)
            if floor_m + _LEAST_HEIGHT_M < level < top_m + _OVER_TOP_M:
                ranked.append((level, cover, common))
        ranked.sort(key=lambda item: item[0])
        parts: list[Part] = []
        left = shape
        for level, cover, common in ranked:
            part = common.intersection(left)
            if part.area < min(_LEAST_PART_M2, 0.2 * whole):
                continue
            left = left.difference(part)
            parts.append(_part_under(cover, part, level - floor_m, self._wishes.ceiling_kind))
        return parts, left

    def _tops(self, shape: "BaseGeometry", floor_m: float, mesh: Mesh, use: str) -> list[Part]:
        guess = self._wishes.ceiling_kind or usual_ceiling(use)[1]
        found = []
        for plane in flat_parts(mesh, up=True):
            part = plane.outline.intersection(shape)
            if part.area < 0.05:
                continue
            middle = part.representative_point()
            height = plane.level_at(middle.x, middle.y) - floor_m
            if height > _LEAST_HEIGHT_M:
                text = "top of the space: no ceiling or slab is modelled over it"
                is_sloped = plane.slope_ratio > _SLOPED and self._wishes.ceiling_kind is None
                kind: CeilingKind = "plasterboard" if is_sloped else guess
                found.append(Part(part, plane, height, "assumed", text, kind, ""))
        if not found:
            plane = Plane(outline=_largest(shape), level=(0.0, 0.0, mesh.high))
            text = "highest point of the space: it has no flat top"
            height = mesh.high - floor_m
            found.append(Part(shape, plane, height, "assumed", text, guess, ""))
        return found

    def _proposals(
        self, parts: list[Part], shape: Polygon, floor_m: float
    ) -> tuple[tuple[CeilingProposal, ...], list[str], list[str]]:
        parts.sort(key=lambda part: -part.shape.area)
        doubts = []
        if len(parts) > _MOST_CEILINGS:
            lost = sum(part.shape.area for part in parts[_MOST_CEILINGS:])
            doubts.append(
                f"{len(parts) - _MOST_CEILINGS} small ceiling(s), {lost:.1f} m² together,"
                " were taken with the largest"
            )
            parts = parts[:_MOST_CEILINGS]
        found = [_proposal(parts[0], None, floor_m)]
        for part in parts[1:]:
            found += [
                _proposal(part, polygon, floor_m)
                for polygon in without_holes(clean_polygons([part.shape]))
                if polygon.area >= min(_LEAST_PART_M2, 0.2 * shape.area)
            ]
        assumed = []
        if any(not ceiling.kind_text for ceiling in found):
            guess = next(ceiling.kind for ceiling in found if not ceiling.kind_text)
            assumed.append(f"ceiling taken as {guess}: the model does not tell its kind")
        for height, text in sorted(
            {
                (ceiling.height_m, ceiling.height_text)
                for ceiling in found
                if ceiling.height_source == "assumed"
            }
        ):
            assumed.append(f"ceiling height {height:.3f} m: {text}")
        if any(part.plane.slope_ratio for part in parts):
            doubts.append("a ceiling slopes: see its rise before placing")
        return tuple(found), doubts, assumed


def _is_rest(left: "BaseGeometry", shape: Polygon) -> bool:
    """Tell whether what is left is more than strips along walls."""
    opened = left.buffer(-_STRIP_M)
    least = max(min(_LEAST_PART_M2, 0.2 * shape.area), _LEAST_PART_RATIO * shape.area)
    return not opened.is_empty and bool(left.area > least)


def _part_under(
    cover: Cover, shape: "BaseGeometry", height_m: float, asked: CeilingKind | None
) -> Part:
    kind, kind_text = ceiling_kind(cover.names)
    if cover.is_structure:
        text = f"underside of the slab over it ({cover.name}): no ceiling is modelled"
        return Part(
            shape, cover.plane, height_m, "model", text, "open", "slab without a ceiling", ()
        )
    text = f"lowest ceiling covering over it ({cover.name})"
    return Part(
        shape, cover.plane, height_m, "model", text, kind or asked or "grid", kind_text, cover.names
    )


def _structure(near: list[Cover], part: Part, floor_m: float) -> float | None:
    """Return the height of the lowest slab over a ceiling above finished floor. [m]."""
    middle = part.shape.representative_point()
    under = floor_m + part.height_m
    levels = [
        cover.plane.level_at(middle.x, middle.y)
        for cover in near
        if cover.is_structure and cover.plane.outline.covers(middle)
    ]
    above = [level for level in levels if under + _SAME_M < level < under + _STRUCTURE_REACH_M]
    return min(above) - floor_m if above else None


def _joined(parts: list[Part]) -> list[Part]:
    """Join parts of one height, slope and kind; small odd ones go with the largest."""
    groups: list[Part] = []
    for part in sorted(parts, key=lambda item: -item.shape.area):
        for group in groups:
            if _is_same(group, part):
                group.shape = group.shape.union(part.shape)
                break
        else:
            groups.append(part)
    whole = sum(group.shape.area for group in groups)
    least = max(min(_LEAST_PART_M2, 0.2 * whole), _LEAST_PART_RATIO * whole)
    kept = [group for group in groups if group.shape.area >= least or group.source == "model"]
    return kept or groups[:1]


def _is_same(one: Part, two: Part) -> bool:
    if one.kind != two.kind or one.source != two.source:
        return False
    point = two.shape.representative_point()
    middle = one.shape.representative_point()
    tilt = max(abs(a - b) for a, b in zip(one.plane.level[:2], two.plane.level[:2], strict=True))
    gap = one.plane.level_at(point.x, point.y) - two.plane.level_at(point.x, point.y)
    far = one.plane.level_at(middle.x, middle.y) - two.plane.level_at(middle.x, middle.y)
    return tilt < 0.01 and abs(gap) <= _SAME_M and abs(far) <= 2 * _SAME_M


def _largest(shape: "BaseGeometry") -> Polygon:
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]
    return max(parts, key=lambda part: part.area)


def _proposal(part: Part, region: Polygon | None, floor_m: float) -> CeilingProposal:
    shape = region or _largest(part.shape)
    at = shape.representative_point()
    slope = part.plane.slope_ratio
    height = part.plane.level_at(at.x, at.y) - floor_m if slope else part.height_m
    pitches = [tile_size_m(name) for name in part.names]
    return CeilingProposal(
        height_m=round(height, 3),
        height_source=part.source,
        height_text=part.text,
        kind=part.kind,
        kind_text=part.kind_text,
        region=ring_of(region.exterior.coords) if region else None,
        pitch_m=next((pitch for pitch in pitches if pitch), None) if part.kind == "grid" else None,
        slope_ratio=round(slope, 4),
        slope_angle_rad=part.plane.slope_angle_rad,
        slope_at=(round(at.x, 3), round(at.y, 3)) if slope else (0.0, 0.0),
        structure_height_m=round(part.structure_m, 3) if part.structure_m else None,
        material=part.names[-1] if part.names else "",
    )
