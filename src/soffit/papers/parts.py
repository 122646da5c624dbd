"""The parts of packs: each a list of sections, made from the views of one job."""

from collections.abc import Callable, Sequence
from typing import Any, Final

from soffit.model.findings import DEFER
from soffit.papers import blocks
from soffit.papers.cards import card_pages, cards
from soffit.papers.letters import missing_letters
from soffit.papers.map_sheets import map_sheets
from soffit.papers.overview import overview_sheets
from soffit.papers.plan import plan_sheets
from soffit.papers.scene import Scene
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import JobView
from soffit.units import format_length

Section = dict[str, Any]
Progress = Callable[[str], None]
_STOPS_ON_COVER: Final = 8
_TOGETHER: Final = 24
"""Rows of a table that is kept on one page."""


def drawing(scene: Scene, name: str, alt: str, number: str = "") -> Section:
    """Return a whole-sheet drawing as a section.

    Parameters
    ----------
    scene
        The sheet.
    name
        For the outline of the PDF.
    alt
        What it shows, for whoever cannot see it.
    number
        Drawing number, for the list of sheets.
    """
    return {
        "kind": "drawing",
        "width": scene.width,
        "height": scene.height,
        "svg": write_svg(scene),
        "number": number,
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


class Maker:
    """Makes the sections of one job, each kind once, however many packs ask for it."""

    def __init__(self, view: JobView, progress: Progress) -> None:
        self.view, self.progress = view, progress
        self.imperial = view.title.is_imperial
        self.missing = missing_letters(view)
        self._made: dict[str, list[Section]] = {}

    def part(self, name: str) -> list[Section]:
        """Return the sections of one part by its name, made at its first use."""
        if name not in self._made:
            self._made[name] = getattr(self, name)()
        return self._made[name]

    def cover(self, name: str, sheets: Sequence[Section] = ()) -> list[Section]:
        """Return the cover: what was asked, what comes out, the lines, the stops, the sheets.

        A pack without a sheet of cautions has them here.
        """
        title = self.view.title
        content: list[blocks.Block] = [{"kind": "lead", "text": name}]
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
            lines = [
                blocks.heading("Lines"),
                blocks.line_table(self.view.lines, imperial=self.imperial),
            ]
            content += [blocks.together(lines)] if len(self.view.lines) <= _TOGETHER else lines
        content += self._stops()
        missing = self.missing
        if missing:
            names = ", ".join(f"U+{ord(c):04X}" for c in missing)
            content.append(
                blocks.note(
                    "Letters that the papers' font lacks", [f"Printed as their code: {names}."]
                )
            )
        index = dict.fromkeys(
            (sheet["number"], ", ".join(sheet.get("index", (sheet["name"],)))) for sheet in sheets
        )
        if index:
            sheets_table = [blocks.heading("Sheets"), blocks.sheet_index(tuple(index))]
            content += (
                [blocks.together(sheets_table)] if len(index) <= 2 * _TOGETHER else sheets_table
            )
        if not any(sheet["number"] == "A-02" for sheet in sheets):
            content.append(blocks.cautions())
        return [{**flow("A-01", title.job, content), "foot": name}]

    def _stops(self) -> list[blocks.Block]:
        """Return the worst findings, the first few in words."""
        stops = [
            item for item in self.view.findings if item.severity == "stop" and not item.accepted_by
        ]
        if not stops:
            return []
        lines = [
            f"{item.code} {item.place}: {item.what}. {item.do.removesuffix(DEFER).strip()}"
            for item in stops[:_STOPS_ON_COVER]
        ]
        more = len(stops) - len(lines)
        if more:
            lines.append(f"{more} more: see sheet F-01.")
        return [blocks.note("Stops: read these first", [*lines, DEFER])]

    def safety(self) -> list[Section]:
        """Return cautions and the order of work."""
        content = [
            blocks.cautions(),
            blocks.work_order(),
            blocks.heading("On the ladder"),
            {"kind": "bullets", "items": self._kit()},
            blocks.heading("Read and understood"),
            blocks.sign_table(
                ("Name", "company", "date", "signature"), ("3fr", "3fr", "2fr", "4fr"), 8
            ),
        ]
        return [flow("A-02", "Cautions and order of work", content)]

    def _kit(self) -> list[str]:
        """Return what to have at hand up there, as far as the design tells."""
        holes = {
            item.cutout_m: format_length(item.cutout_m, imperial=self.imperial, fine=True)
            for item in self.view.types
            if item.cutout_m
        }
        kit = [
            "This pack: the plan of the room, the cards of the day, a pencil that writes upwards."
        ]
        if holes:
            saws = ", ".join(text for _, text in sorted(holes.items()))
            kit.append(f"Hole saw or cutter for ø {saws}, the 1:1 template, a dust bowl.")
        if any(item.tap_mark for item in self.view.speakers):
            kit.append(
                "The screwdriver or jumper that the tap needs; terminals are on the cut list."
            )
        kit.append(
            "A meter that reads impedance at 1 kHz, or ohms at least; tape and pen for labels."
        )
        return kit

    def overview(self) -> list[Section]:
        """Return an overview a storey."""
        return [
            drawing(
                scene, f"Overview: {name}", f"All rooms of {name}, lines and racks.", f"G-{n:02d}"
            )
            for n, (name, scene) in enumerate(overview_sheets(self.view), 1)
        ]

    def plans(self) -> list[Section]:
        """Return a plan sheet a room."""
        out = []
        for index, room in enumerate(self.view.rooms, 1):
            self.progress(f"plan of {room.label}")
            speakers = self.view.in_room(room.key)
            for sheet in plan_sheets(room, speakers, self.view.title, number=f"P-{index:02d}"):
                labels = ", ".join(sheet.labels) or "none by name"
                alt = f"Ceiling plan of {sheet.name}. Loudspeakers in wiring order: {labels}."
                out.append(drawing(sheet.scene, f"Plan: {sheet.name}", alt, sheet.number))
        return out

    def maps(self) -> list[Section]:
        """Return the map sheets."""
        out = []
        for index, room in enumerate(self.view.rooms, 1):
            self.progress(f"maps of {room.label}")
            speakers = self.view.in_room(room.key)
            scenes = map_sheets(room, speakers, self.view.title, number=f"L-{index:02d}")
            titles = "; ".join(f"{item.title}: {item.note}" for item in room.maps)
            number = f"L-{index:02d}"
            out += [drawing(scene, f"Maps: {room.label}", titles, number) for scene in scenes]
        return out

    def schematics(self) -> list[Section]:
        """Return the schematics of all lines."""
        out = []
        for index, line in enumerate(self.view.lines, 1):
            self.progress(f"schematic of {line.label}")
            speakers = self.view.on_line(line.key)
            scenes = schematic_sheets(line, speakers, self.view.title, number=f"S-{index:02d}")
            places = ", ".join(node.label for node in line.nodes)
            alt = f"Schematic of line {line.label} from the amplifier outwards: {places}."
            number = f"S-{index:02d}"
            out += [drawing(scene, f"Schematic: {line.label}", alt, number) for scene in scenes]
        return out

    def schedule(self) -> list[Section]:
        """Return the schedule of loudspeakers."""
        content = [blocks.schedule(self.view.speakers, imperial=self.imperial)]
        content.append(blocks.type_key(self.view.speakers))
        return [flow("M-01", "Schedule of loudspeakers", content)]

    def cables(self) -> list[Section]:
        """Return the cable list."""
        content = [blocks.cable_table(self.view.cables, imperial=self.imperial)]
        return [flow("M-02", "Cable list", content)] if self.view.cables else []

    def materials(self) -> list[Section]:
        """Return the material list with the types."""
        content = [
            blocks.material_table(self.view.materials),
            blocks.together(
                [blocks.heading("Cut-outs and loudspeaker types"), blocks.cut_list(self.view)]
            ),
        ]
        return [flow("M-03", "Material list", content)]

    def cards(self) -> list[Section]:
        """Return a card a loudspeaker."""
        self.progress("cards")
        made = cards(self.view)
        if not made:
            return []
        pages = card_pages(made)
        return [{"kind": "cards", "number": "C-01", "name": "Cards", "pages": pages}]

    def findings(self) -> list[Section]:
        """Return findings, assumptions and cautions."""
        assumed = {item.text for item in self.view.assumptions}
        said = [item for item in self.view.findings if item.what not in assumed]
        content = blocks.finding_blocks(said)
        if self.view.assumptions:
            rows = [
                (item.text, item.source, blocks.breakable(item.path))
                for item in self.view.assumptions
            ]
            content.append(blocks.heading("Assumed, because nobody surveyed it"))
            content.append(
                blocks.table(
                    ("Assumption", "source", "in job.toml"), ("3fr", "2fr", "auto"), "lll", rows
                )
            )
        return [flow("F-01", "Findings, assumptions, cautions", content)]

    def tests(self) -> list[Section]:
        """Return the commissioning sheet."""
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
        """Return the amplifier and rack sheet."""
        return [
            flow(
                "R-01",
                "Amplifiers and racks",
                blocks.rack_blocks(self.view.racks, imperial=self.imperial),
            )
        ]

    def types(self) -> list[Section]:
        """Return the cut list."""
        content = [
            blocks.text("Count the holes before you cut; the template is 1:1."),
            blocks.cut_list(self.view),
        ]
        return [flow("M-04", "Cut list", content)] if self.view.types else []

    def readings(self) -> list[Section]:
        """Return the readings as taken."""
        content = [
            blocks.reading_table(self.view.readings)
            if self.view.readings
            else blocks.text("No readings were taken against this design.")
        ]
        return [flow("H-01", "Readings as taken", content)]

    def settings(self) -> list[Section]:
        """Return settings and log."""
        content: list[blocks.Block] = []
        own = [item for item in self.view.settings if item.is_own]
        used = [item for item in self.view.settings if item.is_limit and not item.is_own]
        head = ("Setting", "value", "source", "what it does")
        widths = ("auto", "auto", "1fr", "2fr")
        for name, items in (
            ("Set by this job", own),
            ("Limits that this installation was held against, at their defaults", used),
        ):
            if items:
                rows = [(item.name, item.value_text, item.source, item.help) for item in items]
                content += [blocks.heading(name), blocks.table(head, widths, "lrll", rows, pad=0.6)]
        if self.view.settings:
            others = len(self.view.settings) - len(own) - len(used)
            content.append(
                blocks.text(
                    f"{others} settings of searches, estimates and fault hunts stand at the"
                    f" defaults of {self.view.title.made_with}; its reference page on limits lists"
                    " them. job.toml and design.json, kept with this pack, hold everything.",
                    small=True,
                    soft=True,
                )
            )
        if self.view.log:
            logged = [(item.date[:16], item.text, item.who) for item in self.view.log]
            content += [
                blocks.heading("Log"),
                blocks.table(
                    ("Date", "what was changed", "who"), ("auto", "1fr", "auto"), "lll", logged
                ),
            ]
        return [flow("H-02", "Settings and log", content)] if content else []

    def extending(self) -> list[Section]:
        """Return how to add a loudspeaker."""
        return [flow("H-03", "Adding or changing a loudspeaker", blocks.extending(self.view))]

    def symptoms(self) -> list[Section]:
        """Return the symptoms page."""
        return [flow("H-04", "When something sounds wrong", [blocks.symptoms()])]

    def options(self) -> list[Section]:
        """Return the front of alternatives."""
        return [flow("O-01", "Alternatives", blocks.option_blocks(self.view.rooms))]
