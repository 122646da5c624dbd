"""Draw the gallery from a designed job: ``python docs/gallery/make_gallery.py JOB [FOLDER]``.

Without a folder the pictures of the README are drawn too, from the demo job ``library``. With
``--large`` only a room that takes several sheets is drawn: its key plan and its first part on A4,
from the demo job ``market``.
"""

import io
import sys
from dataclasses import replace
from pathlib import Path

import pypdfium2 as pdfium

from soffit.papers.packs import make_pack, pack_data
from soffit.papers.parts import Maker
from soffit.papers.pdf import compile_pdf
from soffit.papers.plan import plan_sheet
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView
from soffit.work.make_papers import view_of_folder

DPI = 110
PAGES = {
    "plan": ": ceiling plan",
    "maps": ": maps",
    "schematic": ": schematic",
    "card": "Find it",
    "schedule": "Schedule of loudspeakers",
    "commissioning": "Commissioning sheet",
}
README = {"plan": "plan-cafe", "schematic": "schematic", "card": "card"}
"""Pages that the README shows, with the name of their file in docs/pictures."""


def pictures(view: JobView) -> dict[str, bytes]:
    """Return one page of each kind as PNG, small enough for a manual."""
    document = pdfium.PdfDocument(make_pack(view))
    found: dict[str, bytes] = {}
    for page in document:
        words = "".join(page.get_textpage().get_text_bounded().split())
        for name, mark in PAGES.items():
            if name not in found and mark.replace(" ", "") in words:
                found[name] = _png(page)
                break
    document.close()
    return found


def drawings(view: JobView) -> dict[str, str]:
    """Return the plan of the largest room and the schematic of the longest line as SVG."""
    room = max(view.rooms, key=lambda item: item.count)
    line = max(view.lines, key=lambda item: len(item.nodes))
    plan = plan_sheet(room, view.in_room(room.key), view.title, number="P-01")
    first, *_ = schematic_sheets(line, view.on_line(line.key), view.title, number="S-01")
    return {"plan": write_svg(plan), "schematic": write_svg(first)}


def large_room(view: JobView) -> dict[str, bytes]:
    """Return the first key plan and part plan on A4 as PNG; nothing if each room has one sheet."""
    view = replace(view, title=replace(view.title, paper="a4"))
    sheets = Maker(view, lambda _: None).plans()
    found: dict[str, bytes] = {}
    for name, ending in {"key-plan": ", key plan", "part-plan": ", part a"}.items():
        sheet = next((item for item in sheets if item["name"].endswith(ending)), None)
        if sheet is not None:
            data = pack_data(view, "Plans", [sheet])
            document = pdfium.PdfDocument(compile_pdf(data, date=view.title.date))
            found[name] = _png(document[0])
            document.close()
    return found


def _png(page: pdfium.PdfPage) -> bytes:
    image = page.render(scale=DPI / 72).to_pil().convert("P", palette=1, colors=64)
    stream = io.BytesIO()
    image.save(stream, format="PNG", optimize=True)
    return stream.getvalue()


def main(job: Path, folder: Path, readme: Path | None = None) -> None:
    """Write pictures and drawings."""
    view = view_of_folder(job)
    folder.mkdir(parents=True, exist_ok=True)
    made = pictures(view)
    for name, data in made.items():
        (folder / f"{name}.png").write_bytes(data)
    if readme is not None:
        readme.mkdir(parents=True, exist_ok=True)
        for page, name in README.items():
            (readme / f"{name}.png").write_bytes(made[page])
    for name, text in drawings(view).items():
        (folder / f"{name}.svg").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    here = Path(__file__).parent
    given = [Path(word) for word in sys.argv[1:] if word != "--large"]
    if "--large" in sys.argv:
        for name, data in large_room(view_of_folder(given[0])).items():
            (here / f"{name}.png").write_bytes(data)
        sys.exit()
    main(given[0], *(given[1:] or [here, here.parent / "pictures"]))
