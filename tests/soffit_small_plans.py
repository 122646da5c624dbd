"""Small plan files of one invented house for the page's tests: DXF, PDF, IFC and a picture.

Two offices side by side, 6 m by 5 m and 4 m by 5 m, with a wall of 0.2 m between them.
"""

from pathlib import Path

import ezdxf
from PIL import Image, ImageDraw

from soffit_plan_models import Model, box

OFFICES = {"Office 1": (0.0, 0.0, 6.0, 5.0), "Office 2": (6.2, 0.0, 10.2, 5.0)}
CHAIR = (2.0, 2.0, 3.6, 3.2)
PIXEL_M = 0.02


def small_dxf(path: Path, *, shift: float = 0.0) -> Path:
    """Draw the offices in metres; their walls on a layer of walls, a chair on one of furniture."""
    document = ezdxf.new("R2013")
    document.header["$INSUNITS"] = 6
    space = document.modelspace()
    for name, (x0, y0, x1, y1) in OFFICES.items():
        ring = [(x0 + shift, y0), (x1 + shift, y0), (x1 + shift, y1), (x0 + shift, y1)]
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
            space.add_line(a, b, dxfattribs={"layer": "A-WALL"})
        text = space.add_text(name, height=0.25, dxfattribs={"layer": "TEXT"})
        text.set_placement(((x0 + x1) / 2 + shift, (y0 + y1) / 2 + 1.0))
    x0, y0, x1, y1 = CHAIR
    ring = [(x0 + shift, y0), (x1 + shift, y0), (x1 + shift, y1), (x0 + shift, y1)]
    for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
        space.add_line(a, b, dxfattribs={"layer": "FURNITURE"})
    document.saveas(path)
    return path


def small_pdf(path: Path) -> Path:
    """Draw the offices at 1:100 on a page, with that scale written on it."""
    point = 100.0 * 0.0254 / 72.0  # metres of the plan that a point of the page is
    parts = ["2 w"]
    for name, (x0, y0, x1, y1) in OFFICES.items():
        left, low, wide, tall = (v / point for v in (x0, y0, x1 - x0, y1 - y0))
        parts.append(f"{left + 60:.3f} {low + 60:.3f} {wide:.3f} {tall:.3f} re S")
        at = left + wide / 2 + 40, low + tall / 2 + 60
        parts.append(f"BT /F 8 Tf {at[0]:.3f} {at[1]:.3f} Td ({name}) Tj ET")
    parts.append("BT /F 8 Tf 60 30 Td (Scale 1:100) Tj ET")
    stream = "\n".join(parts).encode("latin-1")
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 421] /Contents 4 0 R"
        b" /Resources << /Font << /F 5 0 R >> >> >>",
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    out = bytearray(b"%PDF-1.4\n")
    places = []
    for number, item in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, item)
    start = len(out)
    out += b"xref\n0 6\n0000000000 65535 f \n"
    for place in places:
        out += b"%010d 00000 n \n" % place
    out += b"trailer << /Size 6 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % start
    path.write_bytes(bytes(out))
    return path


def small_ifc(path: Path) -> Path:
    """Model the offices with their walls, 3 m high."""
    model = Model()
    ground = model.storey("Ground floor", 0.0)
    for name, (x0, y0, x1, y1) in OFFICES.items():
        model.space(ground, name, box(x0, y0, x1 - x0, y1 - y0), 3.0)
    model.element(ground, "IfcWall", "between", box(6.0, 0.0, 0.2, 5.0), 0.0, 3.0)
    return model.write(path)


def small_picture(path: Path) -> Path:
    """Paint the offices, 50 pixels a metre, with a margin of a metre round them."""
    picture = Image.new("L", (610, 350), 255)
    draw = ImageDraw.Draw(picture)
    for x0, y0, x1, y1 in OFFICES.values():
        corners = [
            ((x + 1.0) / PIXEL_M, 350 - (y + 1.0) / PIXEL_M) for x, y in ((x0, y1), (x1, y0))
        ]
        draw.rectangle([*corners[0], *corners[1]], outline=0, width=3)
    picture.save(path)
    return path
