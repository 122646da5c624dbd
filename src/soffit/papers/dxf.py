"""DXF out: model space in plan coordinates, a block a loudspeaker, a paper sheet a room."""

import io
import math
from typing import Any, Final

from soffit.errors import MissingExtraError
from soffit.papers import words
from soffit.papers.plan_drawing import clipped_lines, family
from soffit.papers.projection import bounds
from soffit.papers.sheet import SIZES_MM, choose_scale, scale_text
from soffit.papers.views import JobView, RoomView, SpeakerView
from soffit.units import INCH_M

_LAYERS: Final[dict[str, tuple[int, int, str]]] = {
    "SOFFIT-WALLS": (7, 50, "CONTINUOUS"),
    "SOFFIT-GRID": (9, 9, "CONTINUOUS"),
    "SOFFIT-JOISTS": (9, 13, "DASHED"),
    "SOFFIT-OBSTACLES": (8, 13, "CONTINUOUS"),
    "SOFFIT-DOORS": (7, 25, "CONTINUOUS"),
    "SOFFIT-SPEAKERS": (1, 35, "CONTINUOUS"),
    "SOFFIT-CABLE": (1, 25, "CONTINUOUS"),
    "SOFFIT-MARKS": (7, 18, "CONTINUOUS"),
    "SOFFIT-TEXT": (7, 18, "CONTINUOUS"),
    "SOFFIT-SHEET": (7, 35, "CONTINUOUS"),
}
"""Colour, line weight in hundredths of a millimetre, line type."""

_TEXT_M: Final = 0.14
"""Height of lettering in model space: 1.4 mm at 1:100. [m]"""
_TAGS: Final = ("LABEL", "TAP", "LINE", "ORDER", "TYPE", "PLACE", "LOSS_DB", "VOLTS", "KEY")


def write_dxf(view: JobView) -> str:
    """Return a job as DXF R2013 text: millimetres, or inches for an imperial job.

    Parameters
    ----------
    view
        The job.

    Returns
    -------
    str
        The whole file; same job, same text.

    Raises
    ------
    MissingExtraError
        If ezdxf is not installed.
    """
    try:
        from ezdxf import filemanagement  # noqa: PLC0415 - only drawing export needs it
        from ezdxf._options import options  # noqa: PLC0415 - the one switch without a clock
    except ImportError as error:
        msg = "drawing export needs ezdxf"
        raise MissingExtraError(
            msg, where="papers.dxf", why="it is not installed", do="pip install ezdxf"
        ) from error
    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no clock, no random ids
    try:
        stream = io.StringIO()
        _Exporter(filemanagement.new("R2013", setup=["linetypes"]), view).document().write(stream)
        return stream.getvalue()
    finally:
        options.write_fixed_meta_data_for_testing = fixed


class _Exporter:
    def __init__(self, document: Any, view: JobView) -> None:  # noqa: ANN401 - untyped library
        self.doc, self.view = document, view
        self.unit_m = INCH_M if view.title.is_imperial else 1e-3
        self.space = document.modelspace()
        self.drawn: set[str] = set()
        document.header["$INSUNITS"] = 1 if view.title.is_imperial else 4
        document.header["$MEASUREMENT"] = 0 if view.title.is_imperial else 1
        document.header["$LTSCALE"] = 300.0 * 1e-3 / self.unit_m / 10.0
        for name, (colour, weight, kind) in _LAYERS.items():
            document.layers.add(name, color=colour, lineweight=weight, linetype=kind)
        document.styles.add("SOFFIT", font="arial.ttf")

    def document(self) -> Any:  # noqa: ANN401 - untyped library
        for kind in sorted({item.kind for item in self.view.speakers}):
            self._block(kind)
        for index, room in enumerate(self.view.rooms, 1):
            self._room(room)
            self._sheet(room, index)
        if "Layout1" in self.doc.layouts.names() and self.view.rooms:
            self.doc.layouts.delete("Layout1")
        # the library takes them from a set, whose order another run need not share
        for name in sorted(self.doc.entitydb.dxf_types_in_use()):
            self.doc.classes.add_class(name)
        return self.doc

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        return point[0] / self.unit_m, point[1] / self.unit_m

    def _block(self, kind: str) -> None:
        """Define the symbol of a kind, one drawing unit in radius, with its attributes."""
        block = self.doc.blocks.new(name=f"SOFFIT_{kind.upper()}")
        if kind == "subwoofer":
            ring = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
            block.add_lwpolyline(ring, close=True, dxfattribs={"layer": "0"})
            block.add_circle((0, 0), 0.55, dxfattribs={"layer": "0"})
        elif kind == "surface":
            arc = [
                (math.cos(math.radians(a)), math.sin(math.radians(a))) for a in range(180, 361, 15)
            ]
            block.add_lwpolyline(arc, close=True, dxfattribs={"layer": "0"})
        else:
            block.add_circle((0, 0), 1.0, dxfattribs={"layer": "0"})
            block.add_circle((0, 0), 0.3, dxfattribs={"layer": "0"})
        for number, tag in enumerate(_TAGS):
            hidden = tag not in {"LABEL", "TAP"}
            attribute = block.add_attdef(
                tag,
                insert=(1.3, 0.25 - 0.95 * min(number, 1)),
                text="",
                height=0.8,
                dxfattribs={"layer": "SOFFIT-TEXT", "style": "SOFFIT"},
            )
            attribute.is_invisible = hidden

    def _poly(self, points: Any, layer: str, *, close: bool = False) -> None:  # noqa: ANN401 - any points
        self.space.add_lwpolyline(
            [self._at(point) for point in points], close=close, dxfattribs={"layer": layer}
        )

    def _room(self, room: RoomView) -> None:
        self._poly(room.outline, "SOFFIT-WALLS", close=True)
        for hole in room.holes:
            self._poly(hole, "SOFFIT-WALLS", close=True)
        self._ceilings(room)
        for item in room.obstacles:
            self._poly(item.outline, "SOFFIT-OBSTACLES", close=True)
        for route in room.routes:
            if len(route.points) > 1 and route.run_key not in self.drawn:
                self.drawn.add(route.run_key)
                self._poly(route.points, "SOFFIT-CABLE")
        for door in room.doors:
            self._text(door.label, door.position, "SOFFIT-DOORS")
        for mark in room.marks:
            self.space.add_circle(
                self._at(mark.position), 0.15 / self.unit_m, dxfattribs={"layer": "SOFFIT-MARKS"}
            )
            self._text(mark.label, (mark.position[0] + 0.2, mark.position[1]), "SOFFIT-MARKS")
        for speaker in self.view.in_room(room.key):
            self._speaker(speaker)

    def _text(self, text: str, at: tuple[float, float], layer: str, height_m: float = 0.15) -> None:
        if text:
            self.space.add_text(
                text,
                height=height_m / self.unit_m,
                dxfattribs={"layer": layer, "style": "SOFFIT", "insert": self._at(at)},
            )

    def _ceilings(self, room: RoomView) -> None:
        from shapely import Polygon  # noqa: PLC0415 - only plans need it

        shape: Any = Polygon(room.outline, room.holes)
        for ceiling in room.ceilings:
            part = shape if ceiling.region is None else shape.intersection(Polygon(ceiling.region))
            if part.is_empty:
                continue
            lines, layer = [], "SOFFIT-GRID"
            if ceiling.grid is not None:
                grid = ceiling.grid
                lines += family(grid.origin, grid.angle_rad, grid.pitch_y_m, part.bounds)
                upright = grid.angle_rad + math.pi / 2
                lines += family(grid.origin, upright, grid.pitch_x_m, part.bounds)
            elif ceiling.joists is not None:
                joists, layer = ceiling.joists, "SOFFIT-JOISTS"
                lines = family(joists.offset, joists.angle_rad, joists.spacing_m, part.bounds)
            for start, end in clipped_lines(lines, part):
                self.space.add_line(self._at(start), self._at(end), dxfattribs={"layer": layer})

    def _speaker(self, item: SpeakerView) -> None:
        radius = max(item.flange_m / 2.0, 0.1) / self.unit_m
        block = self.space.add_blockref(
            f"SOFFIT_{item.kind.upper()}",
            self._at(item.position),
            dxfattribs={
                "layer": "SOFFIT-SPEAKERS",
                "xscale": radius,
                "yscale": radius,
                "zscale": radius,
            },
        )
        values = (
            item.label,
            item.tap_text,
            item.line_label,
            str(item.order),
            item.type_name,
            item.tile_text or item.place_text,
            f"{item.loss_db:.2f}",
            f"{item.voltage_v:.1f}",
            item.key,
        )
        block.add_auto_attribs(dict(zip(_TAGS, values, strict=True)))
        x, y = self._at(item.position)
        for row, attribute in enumerate(block.attribs):
            down = min(row, 1) * _TEXT_M * 1.35 / self.unit_m
            attribute.dxf.height = _TEXT_M / self.unit_m
            attribute.dxf.insert = (x + 1.4 * radius, y + 0.1 * radius - down)

    def _sheet(self, room: RoomView, number: int) -> None:
        """Make a paper-space sheet with a viewport on the room and a title block."""
        title = self.view.title
        width, height = SIZES_MM[title.paper]
        name = f"P-{number:02d} {room.label}"
        for letter in '<>/\\":;?*|=`':
            name = name.replace(letter, "-")
        layout = self.doc.layouts.new(name[:250])
        layout.page_setup(size=(width, height), margins=(5, 5, 5, 5), units="mm")
        frame = (width - 10.0, height - 10.0)
        ring = [(0, 0), (frame[0], 0), frame, (0, frame[1])]
        layout.add_lwpolyline(ring, close=True, dxfattribs={"layer": "SOFFIT-SHEET"})
        low_x, low_y, high_x, high_y = bounds(room.outline)
        size = (high_x - low_x, high_y - low_y)
        area = (frame[0] - 20.0, frame[1] - 40.0)
        scale = choose_scale(size, area, imperial=title.is_imperial)
        middle = self._at(((low_x + high_x) / 2, (low_y + high_y) / 2))
        layout.add_viewport(
            center=(frame[0] / 2, frame[1] / 2 + 11.0),
            size=area,
            view_center_point=middle,
            view_height=area[1] * scale * 1e-3 / self.unit_m,
            dxfattribs={"layer": "SOFFIT-SHEET"},
        )
        self._title(layout, frame, name, scale_text(scale, imperial=title.is_imperial), room)

    def _title(
        self,
        layout: Any,  # noqa: ANN401 - untyped library
        frame: tuple[float, float],
        name: str,
        scale: str,
        room: RoomView,
    ) -> None:
        title = self.view.title
        layout.add_line((0, 20), (frame[0], 20), dxfattribs={"layer": "SOFFIT-SHEET"})
        taps = words.tally(self.view.in_room(room.key))
        rows = (
            (5.0, 12.5, 4.0, title.job),
            (5.0, 7.0, 2.5, f"{room.label}: ceiling plan. {taps}"),
            (5.0, 2.8, 2.5, "Invented example" if title.is_invented else title.customer),
            (frame[0] - 90.0, 12.5, 2.5, f"Revision {title.revision} of {title.date}"),
            (frame[0] - 90.0, 7.0, 2.5, f"Scale {scale}"),
            (frame[0] - 25.0, 8.0, 5.0, name.split(" ", maxsplit=1)[0]),
        )
        for x, y, high, text in rows:
            if text:
                layout.add_text(
                    text,
                    height=high,
                    dxfattribs={"layer": "SOFFIT-SHEET", "style": "SOFFIT", "insert": (x, y)},
                )
