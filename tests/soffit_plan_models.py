"""Small building models made by hand for the tests of readers: everything in them is invented."""

import ifcopenshell
import ifcopenshell.guid

FEET = 0.3048


class Model:
    """An IFC model of extruded shapes; lengths are given in metres, written in the model's unit.

    The expected areas and heights of a test follow from these numbers by hand.
    """

    def __init__(self, schema="IFC4", unit="METRE", offset=(0.0, 0.0, 0.0)):
        self.file = ifcopenshell.file(schema=schema)
        self.unit_m = {"METRE": 1.0, "MILLI": 1e-3, "FOOT": FEET}[unit]
        self.offset = offset
        make = self.file.create_entity
        self.owner = None
        if schema == "IFC2X3":
            person = make("IfcPerson", FamilyName="Nobody")
            body = make("IfcOrganization", Name="Nobody")
            both = make("IfcPersonAndOrganization", ThePerson=person, TheOrganization=body)
            tool = make("IfcApplication", body, "1", "tests", "tests")
            self.owner = make("IfcOwnerHistory", both, tool, None, "ADDED", None, None, None, 0)
        units = [self._length_unit(unit), make("IfcSIUnit", None, "AREAUNIT", None, "SQUARE_METRE")]
        origin = self.placement((0.0, 0.0, 0.0), raw=True)
        self.context = make("IfcGeometricRepresentationContext", None, "Model", 3, 1e-6, origin)
        self.body = make(
            "IfcGeometricRepresentationSubContext", "Body", "Model",
            ParentContext=self.context, TargetView="MODEL_VIEW",
        )  # fmt: skip
        self.project = self.root("IfcProject", "Invented")
        self.project.RepresentationContexts = [self.context]
        self.project.UnitsInContext = make("IfcUnitAssignment", units)
        self.site = self.root("IfcSite", "Site", ObjectPlacement=self.local((0, 0, 0)))
        self.building = self.root("IfcBuilding", "Building", ObjectPlacement=self.local((0, 0, 0)))
        self.aggregate(self.project, [self.site])
        self.aggregate(self.site, [self.building])
        self.storeys = {}

    def _length_unit(self, unit):
        make = self.file.create_entity
        if unit != "FOOT":
            return make(
                "IfcSIUnit", None, "LENGTHUNIT", "MILLI" if unit == "MILLI" else None, "METRE"
            )
        metre = make("IfcSIUnit", None, "LENGTHUNIT", None, "METRE")
        size = make("IfcMeasureWithUnit", make("IfcLengthMeasure", FEET), metre)
        powers = make("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
        return make("IfcConversionBasedUnit", powers, "LENGTHUNIT", "FOOT", size)

    def root(self, kind, name, **more):
        return self.file.create_entity(
            kind, GlobalId=ifcopenshell.guid.new(), OwnerHistory=self.owner, Name=name, **more
        )

    def aggregate(self, whole, parts):
        self.root("IfcRelAggregates", None, RelatingObject=whole, RelatedObjects=parts)

    def point(self, values):
        return self.file.create_entity(
            "IfcCartesianPoint", [float(v) / self.unit_m for v in values]
        )

    def placement(self, at, raw=False):
        del raw
        return self.file.create_entity("IfcAxis2Placement3D", self.point(at))

    def local(self, at, relative=None):
        return self.file.create_entity("IfcLocalPlacement", relative, self.placement(at))

    def storey(self, name, elevation):
        x, y, z = self.offset
        found = self.root(
            "IfcBuildingStorey", name,
            Elevation=elevation / self.unit_m, ObjectPlacement=self.local((x, y, z + elevation)),
        )  # fmt: skip
        self.aggregate(self.building, [found])
        self.storeys[name] = found
        return found

    def solid(self, ring, height, at_z=0.0):
        make = self.file.create_entity
        line = make("IfcPolyline", [self.point(p) for p in [*ring, ring[0]]])
        profile = make("IfcArbitraryClosedProfileDef", "AREA", None, line)
        up = make("IfcDirection", [0.0, 0.0, 1.0])
        body = make(
            "IfcExtrudedAreaSolid", profile, self.placement((0, 0, at_z)), up, height / self.unit_m
        )
        return self._shape([body], "SweptSolid")

    def brep(self, points, faces):
        make = self.file.create_entity
        made = [self.point(p) for p in points]
        found = []
        for face in faces:
            loop = make("IfcPolyLoop", [made[i] for i in face])
            found.append(make("IfcFace", [make("IfcFaceOuterBound", loop, True)]))
        return self._shape([make("IfcFacetedBrep", make("IfcClosedShell", found))], "Brep")

    def _shape(self, items, kind):
        make = self.file.create_entity
        body = make("IfcShapeRepresentation", self.body, "Body", kind, items)
        return make("IfcProductDefinitionShape", None, None, [body])

    def space(self, storey, name, ring, height, long_name=None, shape=None, **more):
        found = self.root(
            "IfcSpace", name, LongName=long_name,
            ObjectPlacement=self.local((0, 0, 0), storey.ObjectPlacement),
            Representation=shape or (self.solid(ring, height) if ring else None), **more,
        )  # fmt: skip
        self.aggregate(storey, [found])
        return found

    def element(self, storey, kind, name, ring, bottom, height, type_=None, **more):
        found = self.root(
            kind, name, ObjectPlacement=self.local((0, 0, 0), storey.ObjectPlacement),
            Representation=self.solid(ring, height, bottom) if ring else None, **more,
        )  # fmt: skip
        self.root(
            "IfcRelContainedInSpatialStructure", None,
            RelatedElements=[found], RelatingStructure=storey,
        )  # fmt: skip
        if type_ is not None:
            self.root("IfcRelDefinesByType", None, RelatedObjects=[found], RelatingType=type_)
        return found

    def write(self, path):
        self.file.write(str(path))
        return path


def box(x, y, wide, deep):
    """Corners of a rectangle."""
    return [(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)]


def two_rooms(schema="IFC4", unit="METRE", offset=(0.0, 0.0, 0.0)):
    """Two rooms of 60 m² and an L of 33 m², ceilings at 2.75 m and one at the top of the space."""
    model = Model(schema, unit, offset)
    ground = model.storey("Erdgeschoß", 0.0)
    model.space(ground, "001", box(0, 0, 10, 6), 3.2, "Café")
    ring = [(10.2, 0), (17.2, 0), (17.2, 3), (14.2, 3), (14.2, 6), (10.2, 6)]
    model.space(ground, "002", ring, 3.2, "会議室")
    model.element(
        ground, "IfcCovering", "Compound Ceiling:600 x 600mm Grid:17", box(-0.1, -0.1, 10.2, 6.2),
        2.75, 0.02, PredefinedType="CEILING",
    )  # fmt: skip
    return model, ground
