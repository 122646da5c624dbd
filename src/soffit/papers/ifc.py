"""IFC out: loudspeakers, cable and lines, into a given model or one of its own.

Entities and property sets are those of ISO 16739-1 (IFC 4) where it has them: an audio-visual
appliance of the kind speaker, a cable segment, a distribution system a line. A model of the older
IFC 2x3 has no such entities; flow terminals and segments stand in.
"""

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from soffit.errors import JobError, MissingExtraError
from soffit.papers.pdf import timestamp
from soffit.papers.views import JobView, RoomView, RouteView, SpeakerView

_SPACE: Final = uuid.UUID("5a2a7f0e-6f0d-5d0c-9d6b-0f3a4cf0b8a1")
_ABOVE_M: Final = 0.15
"""Cable is drawn so far above the ceiling's face: for sight only."""

Entity = Any
"""An entity of the model; the library brings no types."""


def write_ifc(view: JobView, *, model: Path | None = None) -> str:
    """Return a job as IFC text.

    Parameters
    ----------
    view
        The job; its plan coordinates must be those of the model.
    model
        A model to add to; a new IFC 4 model of storeys alone by default.

    Returns
    -------
    str
        The whole file. What was in the given model stays as it was.

    Raises
    ------
    MissingExtraError
        If ifcopenshell is not installed.
    JobError
        If the model cannot be read.
    """
    try:
        import ifcopenshell  # noqa: PLC0415 - an extra
    except ImportError as error:
        msg = "IFC export needs ifcopenshell"
        raise MissingExtraError(
            msg, where="papers.ifc", why="it is not installed", do='pip install "soffit[ifc]"'
        ) from error
    file: Any = _opened(model) if model else ifcopenshell.file(schema="IFC4")
    return _Writer(file, view, is_new=model is None).write()


def _opened(model: Path) -> Entity:
    """Open a model, and say in words why it cannot be added to."""
    import ifcopenshell  # noqa: PLC0415 - an extra

    try:
        file = ifcopenshell.open(str(model))
    except (OSError, ifcopenshell.Error) as error:
        raise JobError(
            what=f"{model.name} cannot be read as a building model",
            where=str(model),
            why=str(error).strip().rstrip("."),
            do="give an IFC file that its own program opens",
        ) from error
    if not file.by_type("IfcProject"):
        raise JobError(
            what=f"{model.name} has no project",
            where=str(model),
            why="a building model holds everything under one IfcProject",
            do="export it again, whole",
        )
    return file


class _Writer:
    def __init__(self, file: Entity, view: JobView, *, is_new: bool) -> None:
        self.file, self.view = file, view
        self.old = file.schema == "IFC2X3"
        self.history: Entity = None
        if is_new:
            self._begin()
        else:
            found = file.by_type("IfcOwnerHistory")
            self.history = found[0] if found else None
        self.unit_m = self._unit_m()
        self.body = self._context("Body", "Model")
        self.storeys = self._storeys(is_new=is_new)

    def write(self) -> str:
        """Add everything and return the text."""
        rooms = {room.key: room for room in self.view.rooms}
        inside: dict[str, list[Entity]] = {}
        members: dict[str, list[Entity]] = {}
        for item in self.view.speakers:
            room = rooms[item.room_key]
            entity = self._speaker(item, room)
            inside.setdefault(room.storey, []).append(entity)
            members.setdefault(item.line_label, []).append(entity)
        for room, route in self._routes():
            entity = self._cable(route, room)
            inside.setdefault(room.storey, []).append(entity)
            members.setdefault(route.line_label, []).append(entity)
        for storey, entities in inside.items():
            self._contain(storey, entities)
        for line, entities in sorted(members.items()):
            self._system(line, entities)
        self._header()
        return str(self.file.to_string())

    def _routes(self) -> list[tuple[RoomView, RouteView]]:
        """Return every run once, with the first room that it is drawn in."""
        found: dict[str, tuple[RoomView, RouteView]] = {}
        for room in self.view.rooms:
            for route in room.routes:
                if len(route.points) > 1:
                    found.setdefault(route.run_key, (room, route))
        return list(found.values())

    # -- the model around -------------------------------------------------------------------

    def _id(self, *parts: str) -> str:
        """Return a global id that is the same on every run."""
        import ifcopenshell.guid as guid  # noqa: PLC0415, PLR0402 - an extra

        name = "/".join((self.view.title.job, *parts))
        return str(guid.compress(uuid.uuid5(_SPACE, name).hex))

    def _root(self, kind: str, name: str, *parts: str, **more: Entity) -> Entity:
        return self.file.create_entity(
            kind, GlobalId=self._id(kind, *parts), OwnerHistory=self.history, Name=name, **more
        )

    def _begin(self) -> None:
        make = self.file.create_entity
        units = [
            make("IfcSIUnit", UnitType=kind, Name=name)
            for kind, name in (
                ("LENGTHUNIT", "METRE"),
                ("AREAUNIT", "SQUARE_METRE"),
                ("VOLUMEUNIT", "CUBIC_METRE"),
                ("PLANEANGLEUNIT", "RADIAN"),
                ("POWERUNIT", "WATT"),
                ("ELECTRICVOLTAGEUNIT", "VOLT"),
            )
        ]
        context = make(
            "IfcGeometricRepresentationContext",
            ContextType="Model",
            CoordinateSpaceDimension=3,
            Precision=1e-5,
            WorldCoordinateSystem=self._axes((0.0, 0.0, 0.0)),
        )
        project = self._root(
            "IfcProject",
            self.view.title.job,
            "project",
            RepresentationContexts=[context],
            UnitsInContext=make("IfcUnitAssignment", Units=units),
        )
        site = self._root("IfcSite", "Site", "site", CompositionType="ELEMENT")
        building = self._root("IfcBuilding", "Building", "building", CompositionType="ELEMENT")
        self._root("IfcRelAggregates", "", "site", RelatingObject=project, RelatedObjects=[site])
        self._root(
            "IfcRelAggregates", "", "building", RelatingObject=site, RelatedObjects=[building]
        )

    def _unit_m(self) -> float:
        import ifcopenshell.util.unit as unit  # noqa: PLC0415, PLR0402 - an extra

        return float(unit.calculate_unit_scale(self.file))

    def _context(self, name: str, kind: str) -> Entity:
        for sub in self.file.by_type("IfcGeometricRepresentationSubContext"):
            if sub.ContextIdentifier == name and sub.ContextType == kind:
                return sub
        parents = [
            item
            for item in self.file.by_type(
                "IfcGeometricRepresentationContext", include_subtypes=False
            )
            if item.ContextType == kind
        ]
        return self.file.create_entity(
            "IfcGeometricRepresentationSubContext",
            ContextIdentifier=name,
            ContextType=kind,
            ParentContext=parents[0],
            TargetView="MODEL_VIEW",
        )

    def _storeys(self, *, is_new: bool) -> dict[str, tuple[Entity, float]]:
        """Return storey and elevation by label; those that the model lacks are added."""
        import ifcopenshell.util.placement as placement  # noqa: PLC0415, PLR0402 - an extra

        found: dict[str, tuple[Entity, float]] = {}
        for storey in [] if is_new else self.file.by_type("IfcBuildingStorey"):
            up = 0.0
            if storey.ObjectPlacement is not None:
                up = float(placement.get_local_placement(storey.ObjectPlacement)[2][3])
            found[storey.Name] = (storey, up * self.unit_m)
        added = []
        for room in self.view.rooms:
            if room.storey in found:
                continue
            up = room.storey_elevation_m
            storey = self._root(
                "IfcBuildingStorey",
                room.storey,
                "storey",
                room.storey,
                CompositionType="ELEMENT",
                Elevation=up / self.unit_m,
                ObjectPlacement=self._placement((0.0, 0.0, up)),
            )
            found[room.storey] = (storey, up)
            added.append(storey)
        buildings = self.file.by_type("IfcBuilding")
        if added and buildings:
            self._root(
                "IfcRelAggregates",
                "",
                "storeys",
                RelatingObject=buildings[0],
                RelatedObjects=added,
            )
        return found

    # -- geometry ---------------------------------------------------------------------------

    def _point(self, *xyz: float) -> Entity:
        return self.file.create_entity("IfcCartesianPoint", Coordinates=tuple(map(float, xyz)))

    def _axes(self, at: Sequence[float]) -> Entity:
        return self.file.create_entity("IfcAxis2Placement3D", Location=self._point(*at))

    def _placement(self, at_m: Sequence[float]) -> Entity:
        unit_m = self.unit_m if hasattr(self, "unit_m") else 1.0
        at = [value / unit_m for value in at_m]
        return self.file.create_entity("IfcLocalPlacement", RelativePlacement=self._axes(at))

    def _shape(self, items: Sequence[Entity], kind: str) -> Entity:
        shape = self.file.create_entity(
            "IfcShapeRepresentation",
            ContextOfItems=self.body,
            RepresentationIdentifier="Body" if kind == "SweptSolid" else "Axis",
            RepresentationType=kind,
            Items=list(items),
        )
        return self.file.create_entity("IfcProductDefinitionShape", Representations=[shape])

    def _speaker(self, item: SpeakerView, room: RoomView) -> Entity:
        make = self.file.create_entity
        elevation = self.storeys[room.storey][1]
        at = (*item.position, elevation + item.mount_height_m)
        profile = make(
            "IfcCircleProfileDef",
            ProfileType="AREA",
            Position=make("IfcAxis2Placement2D", Location=self._point(0.0, 0.0)),
            Radius=max(item.flange_m / 2.0, 0.05) / self.unit_m,
        )
        solid = make(
            "IfcExtrudedAreaSolid",
            SweptArea=profile,
            Position=self._axes((0.0, 0.0, 0.0)),
            ExtrudedDirection=make("IfcDirection", DirectionRatios=(0.0, 0.0, 1.0)),
            Depth=max(item.depth_m, 0.02) / self.unit_m,
        )
        more: dict[str, Entity] = {"Tag": item.label}
        if not self.old:
            more["PredefinedType"] = "SPEAKER"
        entity = self._root(
            "IfcFlowTerminal" if self.old else "IfcAudioVisualAppliance",
            item.label,
            item.key,
            ObjectType=item.type_name,
            ObjectPlacement=self._placement(at),
            Representation=self._shape([solid], "SweptSolid"),
            **more,
        )
        self._speaker_sets(entity, item)
        return entity

    def _speaker_sets(self, entity: Entity, item: SpeakerView) -> None:
        if not self.old:
            status = "EXISTING" if item.state == "existing" else "NEW"
            self._set(
                entity,
                "Pset_AudioVisualApplianceTypeCommon",
                {"Reference": ("IfcIdentifier", item.type_id)},
                {"Status": status},
            )
            mounting = {"surface": "WALL", "pendant": "OTHER"}.get(item.kind, "CEILING")
            kind = "WOOFER" if item.kind == "subwoofer" else "FULLRANGE"
            self._set(
                entity,
                "Pset_AudioVisualApplianceTypeSpeaker",
                {},
                {"SpeakerType": kind, "SpeakerMounting": mounting},
            )
        self._set(
            entity,
            "Soffit_Loudspeaker",
            {
                "Line": ("IfcLabel", item.line_label),
                "OrderOnLine": ("IfcInteger", item.order),
                "Tap": ("IfcLabel", item.tap_text),
                "TapPower": ("IfcPowerMeasure", item.tap_w),
                "TapMark": ("IfcLabel", item.tap_mark),
                "Place": ("IfcText", item.tile_text or item.place_text),
                "LineLossDecibel": ("IfcReal", round(item.loss_db, 4)),
                "PermanentKey": ("IfcIdentifier", item.key),
                "DesignRevision": ("IfcInteger", self.view.title.revision),
            },
            {},
        )

    def _set(
        self,
        entity: Entity,
        name: str,
        values: Mapping[str, tuple[str, object]],
        words: Mapping[str, str],
    ) -> None:
        make = self.file.create_entity
        properties = [
            make("IfcPropertySingleValue", Name=key, NominalValue=make(kind, value))
            for key, (kind, value) in values.items()
            if value != ""
        ]
        properties += [
            make(
                "IfcPropertyEnumeratedValue",
                Name=key,
                EnumerationValues=[make("IfcLabel", word)],
            )
            for key, word in words.items()
        ]
        held = self._root("IfcPropertySet", name, name, entity.GlobalId, HasProperties=properties)
        self._root(
            "IfcRelDefinesByProperties",
            "",
            name,
            entity.GlobalId,
            "of",
            RelatedObjects=[entity],
            RelatingPropertyDefinition=held,
        )

    def _cable(self, route: RouteView, room: RoomView) -> Entity:
        elevation = self.storeys[room.storey][1]
        height = max((ceiling.height_m for ceiling in room.ceilings), default=2.7)
        up = (elevation + height + _ABOVE_M) / self.unit_m
        points = [
            self._point(x / self.unit_m, y / self.unit_m, up) for x, y in _distinct(route.points)
        ]
        line = self.file.create_entity("IfcPolyline", Points=points)
        more = {} if self.old else {"PredefinedType": "CABLESEGMENT"}
        return self._root(
            "IfcFlowSegment" if self.old else "IfcCableSegment",
            route.label,
            route.run_key,
            ObjectType=f"run of line {route.line_label}",
            ObjectPlacement=self._placement((0.0, 0.0, 0.0)),
            Representation=self._shape([line], "Curve3D"),
            **more,
        )

    # -- relations --------------------------------------------------------------------------

    def _contain(self, storey: str, entities: Sequence[Entity]) -> None:
        self._root(
            "IfcRelContainedInSpatialStructure",
            "loudspeakers and cable",
            storey,
            "contains",
            RelatedElements=list(entities),
            RelatingStructure=self.storeys[storey][0],
        )

    def _system(self, line: str, entities: Sequence[Entity]) -> None:
        more = {} if self.old else {"PredefinedType": "AUDIOVISUAL"}
        kind = "IfcSystem" if self.old else "IfcDistributionSystem"
        system = self._root(kind, f"Line {line}", "line", line, **more)
        self._root(
            "IfcRelAssignsToGroup",
            "",
            "line",
            line,
            "of",
            RelatedObjects=list(entities),
            RelatingGroup=system,
        )

    def _header(self) -> None:
        """Date the file by the revision: no clock."""
        day = dt.datetime.fromtimestamp(timestamp(self.view.title.date), tz=dt.UTC)
        head = self.file.header.file_name
        head.time_stamp = day.strftime("%Y-%m-%dT%H:%M:%S")
        head.name = self.view.title.job
        head.originating_system = self.view.title.made_with


def _distinct(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return a polyline without points that repeat."""
    kept = [points[0]]
    for point in points[1:]:
        if abs(point[0] - kept[-1][0]) + abs(point[1] - kept[-1][1]) > 1e-6:
            kept.append(point)
    return kept if len(kept) > 1 else [points[0], (points[0][0] + 1e-3, points[0][1])]
