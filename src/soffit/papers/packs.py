"""Which sheets make which pack, and in which order."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final, Literal

from soffit.papers import blocks
from soffit.papers.cards import cards
from soffit.papers.letters import missing_letters, shown
from soffit.papers.map_sheets import map_sheets
from soffit.papers.pdf import compile_pdf
from soffit.papers.plan import plan_sheet
from soffit.papers.scene import Scene
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView, Paper

Pack = Literal["job", "installer", "commissioner", "office", "handover"]
Section = dict[str, Any]
Progress = Callable[[str], None]

PACKS: Final[dict[Pack, str]] = {
    "job": "Papers",
    "installer": "Installer's pack",
    "commissioner": "Commissioner's pack",
    "office": "Office pack",
    "handover": "Hand-over pack",
}
PORTRAIT_MM: Final[dict[Paper, tuple[float, float]]] = {
    "a4": (210.0, 297.0),
    "a3": (210.0, 297.0),
    "letter": (215.9, 279.4),
    "ansi-b": (215.9, 279.4),
}


def drawing(scene: Scene, name: str, alt: str) -> Section:
    """Return a whole-sheet drawing as a section.

    Parameters
    ----------
    scene
        The sheet.
    name
        For the outline of the PDF.
    alt
        What it shows, for whoever cannot see it.
    """
    return {
        "kind": "drawing",
        "width": scene.width,
        "height": scene.height,
        "svg": write_svg(scene),
        "name": name,
        "alt": alt,
    }


def flow(number: str, name: str, content: Sequence[blocks.Block]) -> Section:
    """Return flowing pages as a section.

    Parameters
    ----------
    number
        Drawing number, such as ``M-01``.
    name
        Title of the page.
    content
        Its blocks.
    """
    return {"kind": "flow", "number": number, "name": name, "blocks": list(content)}


class _Maker:
    """Makes the sections of one job, each kind once."""

    def __init__(self, view: JobView, progress: Progress) -> None:
        self.view, self.progress = view, progress
        self.imperial = view.title.is_imperial

    def cover(self, pack: Pack) -> list[Section]:
        title = self.view.title
        content: list[blocks.Block] = [{"kind": "lead", "text": PACKS[pack]}]
        facts = [
            ("For", ", ".join(part for part in (title.customer, title.address) if part)),
            ("Revision", f"{title.revision} of {title.date or 'no date'}"),
            ("Made with", title.made_with + (f", job {title.job_hash}" if title.job_hash else "")),
        ]
        content.append({"kind": "facts", "rows": [row for row in facts if row[1]]})
        if title.is_invented:
            content.append(
                blocks.note(
                    "Invented example",
                    ["Building, people, types and numbers of this job are invented."],
                )
            )
        content += [blocks.text(line) for line in self.view.headline]
        content += [blocks.heading("Brief against result"), blocks.brief_table(self.view.rooms)]
        if self.view.lines:
            content += [
                blocks.heading("Lines"),
                blocks.line_table(self.view.lines, imperial=self.imperial),
            ]
        stops = [item for item in self.view.findings if item.severity == "stop"]
        if stops:
            lines = [f"{item.code} {item.place}: {item.what}. {item.do}" for item in stops]
            content.append(blocks.note("Stops: read these first", lines))
        missing = missing_letters(self.view)
        if missing:
            names = ", ".join(f"U+{ord(c):04X}" for c in missing)
            content.append(
                blocks.note(
                    "Letters that the papers' font lacks", [f"Printed as their code: {names}."]
                )
            )
        return [flow("A-01", title.job, content)]

    def safety(self) -> list[Section]:
        return [flow("A-02", "Cautions", [blocks.cautions(), blocks.work_order()])]

    def plans(self) -> list[Section]:
        out = []
        for index, room in enumerate(self.view.rooms, 1):
            self.progress(f"plan of {room.label}")
            speakers = self.view.in_room(room.key)
            scene = plan_sheet(room, speakers, self.view.title, number=f"P-{index:02d}")
            labels = ", ".join(item.label for item in speakers) or "none"
            alt = f"Ceiling plan of {room.label}. Loudspeakers in wiring order: {labels}."
            out.append(drawing(scene, f"Plan: {room.label}", alt))
        return out

    def maps(self) -> list[Section]:
        out = []
        for index, room in enumerate(self.view.rooms, 1):
            self.progress(f"maps of {room.label}")
            speakers = self.view.in_room(room.key)
            scenes = map_sheets(room, speakers, self.view.title, number=f"L-{index:02d}")
            titles = "; ".join(f"{item.title}: {item.note}" for item in room.maps)
            out += [drawing(scene, f"Maps: {room.label}", titles) for scene in scenes]
        return out

    def schematics(self) -> list[Section]:
        out = []
        for index, line in enumerate(self.view.lines, 1):
            self.progress(f"schematic of {line.label}")
            speakers = self.view.on_line(line.key)
            scenes = schematic_sheets(line, speakers, self.view.title, number=f"S-{index:02d}")
            places = ", ".join(node.label for node in line.nodes)
            alt = f"Schematic of line {line.label} from the amplifier outwards: {places}."
            out += [drawing(scene, f"Schematic: {line.label}", alt) for scene in scenes]
        return out

    def schedule(self) -> list[Section]:
        content = [blocks.schedule(self.view.speakers, imperial=self.imperial)]
        return [flow("M-01", "Schedule of loudspeakers", content)]

    def cables(self) -> list[Section]:
        content = [blocks.cable_table(self.view.cables, imperial=self.imperial)]
        return [flow("M-02", "Cable list", content)] if self.view.cables else []

    def materials(self) -> list[Section]:
        content = [
            blocks.material_table(self.view.materials),
            blocks.heading("Cut-outs and loudspeaker types"),
            blocks.cut_list(self.view),
        ]
        return [flow("M-03", "Material list", content)]

    def cards(self) -> list[Section]:
        self.progress("cards")
        made = cards(self.view)
        return [{"kind": "cards", "number": "C-01", "name": "Cards", "cards": made}] if made else []

    def findings(self) -> list[Section]:
        content = blocks.finding_blocks(self.view.findings)
        if self.view.assumptions:
            rows = [(item.text, item.source, item.path) for item in self.view.assumptions]
            content.append(blocks.heading("Assumed, because nobody surveyed it"))
            content.append(
                blocks.table(
                    ("Assumption", "source", "in job.toml"), ("3fr", "2fr", "auto"), "lll", rows
                )
            )
        content.append(blocks.cautions())
        return [flow("F-01", "Findings, assumptions, cautions", content)]

    def tests(self) -> list[Section]:
        if not self.view.tests:
            return []
        content: list[blocks.Block] = [
            blocks.text(
                "In this order. For every dead test: amplifier off, both legs disconnected, volume"
                " controls up. Close every joint that was opened and read the whole line again at"
                " the rack.",
                small=True,
            ),
            {
                "kind": "facts",
                "rows": [("Instrument, serial no.", "." * 60), ("Date, name", "." * 60)],
            },
            blocks.test_table(self.view.tests),
        ]
        return [flow("T-01", "Commissioning sheet", content)]

    def racks(self) -> list[Section]:
        return [
            flow(
                "R-01",
                "Amplifiers and racks",
                blocks.rack_blocks(self.view.racks, imperial=self.imperial),
            )
        ]

    def options(self) -> list[Section]:
        return [flow("O-01", "Alternatives", blocks.option_blocks(self.view.rooms))]


def _sections(view: JobView, pack: Pack, progress: Progress) -> list[Section]:
    make = _Maker(view, progress)
    cover = make.cover(pack)
    orders: dict[Pack, tuple[Callable[[], list[Section]], ...]] = {
        "job": (
            make.safety,
            make.plans,
            make.maps,
            make.schematics,
            make.schedule,
            make.cables,
            make.materials,
            make.racks,
            make.cards,
            make.findings,
            make.tests,
        ),
        "installer": (make.safety, make.plans, make.schematics, make.cables, make.cards),
        "commissioner": (make.safety, make.racks, make.schematics, make.tests),
        "office": (
            make.maps,
            make.options,
            make.schedule,
            make.materials,
            make.racks,
            make.findings,
        ),
        "handover": (make.plans, make.schematics, make.schedule, make.racks, make.findings),
    }
    for part in orders[pack]:
        cover += part()
    return cover


def make_pack(
    view: JobView,
    pack: Pack = "job",
    *,
    paper: Paper | None = None,
    progress: Progress = lambda _: None,
) -> bytes:
    """Return one pack as PDF.

    Parameters
    ----------
    view
        The job.
    pack
        Which pack; ``job`` is the one that ``soffit papers`` prints without being asked.
    paper
        Paper size instead of the job's.
    progress
        Called with a few words before each long part.
    """
    if paper is not None:
        view = replace(view, title=replace(view.title, paper=paper))
    width, height = PORTRAIT_MM[view.title.paper]
    sections = _sections(view, pack, progress)
    title = view.title
    data = {
        "title": {
            "job": title.job,
            "pack": PACKS[pack],
            "made_with": title.made_with,
            "revision": str(title.revision),
            "date": title.date or "no date",
            "customer": title.customer,
            "is_invented": title.is_invented,
        },
        "page": {"width": width, "height": height},
        "sections": sections,
    }
    progress("PDF")
    return compile_pdf(shown(data, missing_letters(view)), date=title.date)
