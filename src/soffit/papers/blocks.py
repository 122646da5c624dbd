"""Blocks of flowing pages, as plain data for the template: headings, tables, facts, notes."""

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

from soffit.model.decisions import Option
from soffit.model.findings import DEFER, Finding
from soffit.papers import words
from soffit.papers.finding_groups import FindingGroup, group_findings
from soffit.papers.option_chart import option_chart
from soffit.papers.svg import write_svg
from soffit.papers.views import (
    CableRow,
    JobView,
    LineView,
    MaterialRow,
    RackView,
    ReadingRow,
    RoomView,
    SpeakerView,
    TestRow,
)
from soffit.units import format_length, format_mass

Block = dict[str, Any]
_LONG_WORD: Final = 12
_TICK_LIST: Final = 3
"""From so many places on, tests that say the same become one list to tick."""

GENERAL_CAUTIONS: Final = (
    "Before any hand goes up: amplifier off, its mains locked off, both legs of the line"
    " disconnected at the amplifier. A 70.7 V or 100 V line carries more than 50 V at full level.",
    "Work at height from a platform or a ladder that is footed and tied; nobody stands below.",
    "Before the first cut: look into the void for cables, pipes, ducts and sprinkler heads.",
    "Tiles and tees carry nothing. Weight goes to the main runners by rails or bridge, and a"
    " second support, the safety wire, goes to the structure and never to the grid.",
    "A hole in a fire-rated ceiling breaks its rating unless what goes in is listed for it. A void"
    " that moves room air asks for plenum-rated cable and loudspeakers.",
    "Cable is fixed to its own supports: not laid on tiles, not tied to ceiling wires.",
    DEFER,
)


def heading(text: str, level: int = 2) -> Block:
    """Return a heading.

    Parameters
    ----------
    text
        Its words.
    level
        1 is the page's title.
    """
    return {"kind": "heading", "level": level, "text": text}


def text(words_: str, *, small: bool = False, soft: bool = False) -> Block:
    """Return a paragraph.

    Parameters
    ----------
    words_
        Its words.
    small, soft
        Smaller; greyer.
    """
    return {"kind": "text", "text": words_, "small": small, "soft": soft}


def table(
    head: Sequence[str],
    widths: Sequence[str | float],
    align: str,
    rows: Iterable[Sequence[Any]],
    **more: Any,  # noqa: ANN401 - passed on to the template
) -> Block:
    """Return a table.

    Parameters
    ----------
    head
        Names of the columns.
    widths
        ``auto``, a share such as ``2fr``, or millimetres.
    align
        One letter a column: l, r or c.
    rows
        Cells: texts, or dictionaries with text and tone.
    **more
        ``pad`` and ``strong`` for the template.
    """
    names = {"l": "left", "r": "right", "c": "center"}
    return {
        "kind": "table",
        "head": list(head),
        "widths": list(widths),
        "align": [names[letter] for letter in align],
        "rows": [list(row) for row in rows],
        **more,
    }


def breakable(words_: str) -> str:
    """Return a text whose long words may break after a point, a bar or a bracket.

    Parameters
    ----------
    words_
        Any text; key paths and file names are such words.
    """
    return " ".join(
        re.sub(r"([._/\\\]-])(?=\w)", "\\1\u200b", word) if len(word) > _LONG_WORD else word
        for word in words_.split(" ")
    )


def span(words_: str, columns: int) -> list[Block]:
    """Return a row that is one heading over all columns.

    Parameters
    ----------
    words_
        The heading.
    columns
        Number of columns.
    """
    return [{"text": words_, "span": columns}]


def note(head: str, lines: Sequence[str]) -> Block:
    """Return a marked note.

    Parameters
    ----------
    head
        Its heading.
    lines
        Its paragraphs.
    """
    return {"kind": "note", "head": head, "lines": list(lines)}


def cautions() -> Block:
    """Return the usual cautions, which open every pack that somebody takes up a ladder."""
    return note("Before anybody goes up", GENERAL_CAUTIONS)


def together(blocks: Sequence[Block]) -> Block:
    """Return blocks that stay on one page.

    Parameters
    ----------
    blocks
        Less than a page of them.
    """
    return {"kind": "together", "blocks": list(blocks)}


def sign_table(head: Sequence[str], widths: Sequence[str], count: int) -> Block:
    """Return empty rows to fill in by hand.

    Parameters
    ----------
    head
        Names of the columns.
    widths
        Shares such as ``2fr``.
    count
        How many rows.
    """
    return {"kind": "sign", "head": list(head), "widths": list(widths), "count": count}


WORK_ORDER: Final = (
    "Read the plan in the room: door, walls and grid as drawn? If not, stop and ask the desk.",
    "Mark the tiles. Look above every one of them before the first cut.",
    "Pull the cable run by run in the order of the schematic, label both ends.",
    "Cut, set the support, hang the safety wire to the structure.",
    "Set the tap as its card shows it, then wire: plus to plus, in from the amplifier, out onward.",
    "Join from the far end back: at every unit read ohms onward before the cable from the"
    " amplifier goes in, and write it on the card: it is worth most later.",
    "Hang, close the tile, tick the card.",
    "Before the amplifier goes on: whole line at 1 kHz against the commissioning sheet.",
)


def work_order() -> Block:
    """Return the order of work, numbered."""
    rows = [(str(number), words_) for number, words_ in enumerate(WORK_ORDER, 1)]
    return table(("", "Order of work"), ("auto", "1fr"), "rl", rows, pad=1.3)


def brief_table(rooms: Sequence[RoomView]) -> Block:
    """Return the brief against the result, room by room.

    Parameters
    ----------
    rooms
        All rooms.
    """
    marks = {"met": "met", "missed": "missed", "open": "open"}
    rows: list[Sequence[Any]] = []
    for room in rooms:
        placed = f"{room.count} loudspeakers placed by hand" if room.count else "no loudspeakers"
        rows.append(span(f"{room.label}: {room.pattern or placed}", 4))
        rows += [
            (
                {"text": row.what, "below": row.note},
                row.asked,
                row.got,
                {
                    "text": marks[row.verdict] if row.asked else "",
                    "tone": row.verdict,
                    "strong": row.verdict == "missed",
                },
            )
            for row in room.brief
        ]
        if not room.brief:
            rows.append(
                ("No brief was given for this room", "", "", {"text": "open", "tone": "open"})
            )
    return table(
        ("Brief", "asked", "got", ""), ("1fr", "auto", "auto", "auto"), "lrrl", rows, strong=False
    )


def line_table(lines: Sequence[LineView], *, imperial: bool) -> Block:
    """Return the lines at a glance.

    Parameters
    ----------
    lines
        All lines.
    imperial
        Feet instead of metres.
    """
    rows = [
        (
            line.label,
            line.title,
            line.channel_text,
            words.watts(line.load_w),
            words.watts(line.drawn_w),
            words.ohms(line.meter.middle_ohm if line.meter else line.impedance_ohm),
            f"{words.decibels(line.worst_loss_db)} at {line.worst_label}",
            words.run_length(line.length_m, imperial=imperial),
        )
        for line in lines
    ]
    head = ("Line", "serves", "fed from", "taps", "drawn", "1 kHz", "worst loss", "cable")
    return table(head, ("auto", "1fr", *("auto",) * 6), "lllrrrrr", rows)


def schedule(speakers: Sequence[SpeakerView], *, imperial: bool) -> Block:
    """Return the schedule of loudspeakers, by line in wiring order.

    Parameters
    ----------
    speakers
        All of them.
    imperial
        Feet, inches and pounds.
    """
    rows: list[Sequence[Any]] = []
    group = ""
    for item in sorted(speakers, key=lambda s: (s.line_label, s.order, s.label)):
        name = f"Line {item.line_label}, {item.room_label}"
        if name != group:
            rows.append(span(name, 8))
            group = name
        rows.append(
            (
                item.label,
                item.type_mark,
                (item.tile_text or item.place_text)
                + ("" if item.state == "planned" else f" ({item.state})"),
                item.tap_text,
                words.volts(item.voltage_v),
                words.decibels(item.loss_db),
                words.run_length(item.wire_in.length_m, imperial=imperial) if item.wire_in else "",
                format_mass(item.mass_kg, imperial=imperial),
            )
        )
    head = ("No.", "type", "place", "tap", "volts", "loss", "run in", "mass")
    widths = ("auto", "auto", "1fr", *("auto",) * 5)
    return table(head, widths, "lclrrrrr", rows, pad=0.75)


def type_key(speakers: Sequence[SpeakerView]) -> Block:
    """Return what the letters of the types stand for.

    Parameters
    ----------
    speakers
        All of them.
    """
    found: dict[tuple[str, str], int] = {}
    for item in speakers:
        key = (item.type_mark, item.type_name)
        found[key] = found.get(key, 0) + 1
    rows = [(mark, name, str(count)) for (mark, name), count in sorted(found.items())]
    return table(("Type", "", "count"), ("auto", "1fr", "auto"), "llr", rows, pad=0.75)


def cable_table(rows: Sequence[CableRow], *, imperial: bool) -> Block:
    """Return the list of runs with lengths to cut.

    Parameters
    ----------
    rows
        All runs.
    imperial
        Feet instead of metres.
    """
    out: list[Sequence[Any]] = []
    line = ""
    for row in rows:
        if row.line_label != line:
            line = row.line_label
            here = [item for item in rows if item.line_label == line]
            route = words.run_length(sum(item.length_m for item in here), imperial=imperial)
            cut = words.run_length(sum(item.cut_m for item in here), imperial=imperial)
            count = f"{len(here)} run" + "s" * (len(here) != 1)
            out.append(span(f"Line {line}: {count}, {route} of route, {cut} to cut", 7))
        out.append(
            (
                row.run_label,
                row.from_label,
                row.to_label,
                row.cable + (f", {row.note}" if row.note else ""),
                row.colours,
                words.run_length(row.length_m, imperial=imperial),
                words.run_length(row.cut_m, imperial=imperial),
            )
        )
    head = ("Run", "from", "to", "cable", "cores", "route", "cut")
    return table(
        head, ("auto", "auto", "auto", "1fr", "auto", "auto", "auto"), "lllllrr", out, pad=0.75
    )


def material_table(rows: Sequence[MaterialRow]) -> Block:
    """Return the material list; prices only where the user's own list has them.

    Parameters
    ----------
    rows
        All items.
    """
    out: list[Sequence[Any]] = []
    section = ""
    for row in rows:
        if row.section != section:
            section = row.section
            out.append(span(section, 4))
        out.append(
            (
                row.item,
                words.quantity(row.quantity),
                row.unit,
                "; ".join(part for part in (row.note, row.source) if part and part != "design"),
            )
        )
    return table(("Item", "how many", "", "note"), ("3fr", "auto", "auto", "2fr"), "lrll", out)


def finding_blocks(findings: Sequence[Finding]) -> list[Block]:
    """Return findings in groups, worst first; cautions that always hold follow, said once.

    Parameters
    ----------
    findings
        All of them, accepted ones too.
    """
    names = {"stop": "Stops: do not build this", "warn": "Warnings", "note": "Notes"}
    blocks: list[Block] = []
    groups = group_findings(findings)
    if any(item.defers or item.is_general for item in groups):
        # first, not last: alone on a page nobody reads it
        blocks.append({"kind": "text", "text": DEFER, "strong": True})
    for severity, name in names.items():
        here = [item for item in groups if item.first.severity == severity and not item.is_general]
        if here:
            head = ("Code", "place", "what", "limit, source", "do")
            widths = ("auto", "2fr", "5fr", "2.6fr", "3.4fr")
            rows = [_finding_row(item) for item in here]
            blocks += [heading(name), table(head, widths, "lllll", rows)]
    general = [item for item in groups if item.is_general]
    if general:
        rows = [
            (
                {"text": item.first.code, "tone": "note", "strong": True},
                {"text": item.what, "below": "" if item.places == "job" else item.places},
                item.do,
            )
            for item in general
        ]
        blocks += [
            heading("Cautions of the trade for what this job has"),
            table(("Code", "caution", "do"), ("auto", "2fr", "4fr"), "lll", rows),
        ]
    if not blocks:
        blocks.append(text("The checks that were run found nothing to say."))
    return blocks


_NO_MEND: Final = "no mend: "
"""What the checks put before the reason why no change is offered."""


def _finding_row(group: FindingGroup) -> Sequence[Any]:
    item = group.first
    ending = " Then: defer, as said above." if group.defers else ""
    accepted = f" Accepted by {item.accepted_by}." if item.accepted_by else ""
    return (
        {"text": item.code, "tone": item.severity, "strong": True},
        breakable(group.places),
        {"text": breakable(group.what), "below": item.why.replace(_NO_MEND, "left to people: ")},
        {"text": item.limit, "below": item.limit_source},
        group.do + ending + accepted,
    )


def test_table(rows: Sequence[TestRow]) -> Block:
    """Return the commissioning sheet with room for the readings.

    Parameters
    ----------
    rows
        Tests in the order of work.
    """
    out: list[Sequence[Any]] = []
    shared = _shared_drives(rows)
    for number, alike in _numbered(rows):
        first = alike[0]
        chapter, _, item = number.partition(".")
        drive = shared[first.phase]
        if item == "1":
            title = f"{chapter} {first.phase}" + (f" ({words.on_the_line(drive)})" if drive else "")
            out.append(span(title, 6))
        if len(alike) >= _TICK_LIST:
            out.append(_tick_row(number, alike, drive=drive))
            continue
        place = first.place
        if first.room_label and first.room_label != first.place:
            place += f", {first.room_label}"
        cell = {"text": _test_words(first, drive), "below": first.note}
        out.append((number, place, cell, words.expected(first), "", ""))
    head = ("", "place", "test", "expected", "reading", "ok")
    widths: tuple[str | float, ...] = ("auto", "2fr", "5fr", "3fr", 26.0, 8.0)
    return table(head, widths, "rlllll", out, pad=1.5)


def _numbered(rows: Sequence[TestRow]) -> list[tuple[str, list[TestRow]]]:
    """Return the tests as the sheet counts them, chapter by chapter."""
    return [
        (f"{chapter}.{item}", alike)
        for chapter, phase in enumerate(dict.fromkeys(row.phase for row in rows), 1)
        for item, alike in enumerate(_alike([row for row in rows if row.phase == phase]), 1)
    ]


def test_numbers(rows: Sequence[TestRow]) -> list[tuple[str, TestRow]]:
    """Return every test with its number on the commissioning sheet, in the order of work.

    Parameters
    ----------
    rows
        Tests in the order of work.
    """
    return [(number, row) for number, alike in _numbered(rows) for row in alike]


test_numbers.__test__ = False  # type: ignore[attr-defined]  # a test of the trade


def _test_words(row: TestRow, shared: str) -> str:
    return row.what + (f"; {words.on_the_line(row.drive)}" if row.drive and not shared else "")


def _alike(rows: Sequence[TestRow]) -> list[list[TestRow]]:
    """Return tests one by one, those that say the same of many places as one list to tick."""
    lists: dict[tuple[str, ...], list[TestRow]] = {}
    for row in rows:
        if row.expected is None:
            key = (row.what, row.note, row.expected_text, row.drive)
            lists.setdefault(key, []).append(row)
    out: list[list[TestRow]] = []
    for row in rows:
        key = (row.what, row.note, row.expected_text, row.drive)
        group = lists.get(key, []) if row.expected is None else []
        if len(group) < _TICK_LIST:
            out.append([row])
        elif group[0] is row:
            out.append(group)
    return out


def _tick_row(number: str, rows: Sequence[TestRow], *, drive: str) -> Sequence[Any]:
    first = rows[0]
    cell = {
        "text": _test_words(first, drive),
        "more": words.expected(first),
        "below": first.note,
        "ticks": [row.place for row in rows],
        "dots": first.quantity not in {"ear", "visual"},
        "span": 4,
    }
    return (number, f"{len(rows)} places", cell)


def _shared_drives(rows: Sequence[TestRow]) -> dict[str, str]:
    """Return what is on the line where that is the same for a whole phase."""
    drives: dict[str, set[str]] = {}
    for row in rows:
        drives.setdefault(row.phase, set()).add(row.drive)
    return {phase: next(iter(found)) if len(found) == 1 else "" for phase, found in drives.items()}


test_table.__test__ = False  # type: ignore[attr-defined]  # its name is the trade's, not a test's


def reading_table(rows: Sequence[ReadingRow]) -> Block:
    """Return the readings as taken.

    Parameters
    ----------
    rows
        All readings that were not struck out.
    """
    out = []
    for row in rows:
        verdict, _, reason = row.verdict.partition(": ")
        taken = (row.taken_at[:16].replace("T", " "), row.instrument, row.who)
        out.append(
            (
                row.place,
                {"text": row.what, "below": ", ".join(part for part in taken if part)},
                row.value_text,
                {"text": row.expected_text, "below": reason},
                {"text": verdict, "tone": "stop" if verdict == "fail" else ""},
            )
        )
    head = ("Place", "what, when, with, by", "reading", "expected", "verdict")
    return table(head, ("auto", "3fr", "auto", "4fr", "auto"), "llrll", out)


def rack_blocks(racks: Sequence[RackView], *, imperial: bool) -> list[Block]:
    """Return what to mount, wire and set at every rack.

    Parameters
    ----------
    racks
        All racks.
    imperial
        Pounds instead of kilograms.
    """
    blocks: list[Block] = []
    for rack in racks:
        blocks.append(heading(f"{words.named('Rack', rack.label)}: {rack.place_text}"))
        for amplifier in rack.amplifiers:
            blocks.append(heading(f"Amplifier {amplifier.label}: {amplifier.type_name}", 3))
            facts = [
                (
                    "Height, mass",
                    f"{amplifier.rack_units} rack unit{'s' * (amplifier.rack_units != 1)},"
                    f" {format_mass(amplifier.mass_kg, imperial=imperial)}",
                ),
                (
                    "Output wiring",
                    words.wiring_class(amplifier.class_mark),
                ),
                ("Output", amplifier.output_text),
                ("Note", amplifier.note),
            ]
            blocks.append({"kind": "facts", "rows": [row for row in facts if row[1]]})
            rows = [
                (
                    str(channel.number),
                    channel.lines_text or "spare",
                    channel.zones_text,
                    words.volts(channel.voltage_v),
                    words.hertz(channel.high_pass_hz) or "not decided",
                    words.watts(channel.load_w),
                    words.watts(channel.drawn_w),
                    words.watts(channel.rated_w),
                    words.percent(channel.load_ratio),
                    words.ohms(channel.meter_ohm or channel.impedance_ohm),
                    "",
                )
                for channel in amplifier.channels
            ]
            head = (
                "Ch.",
                "lines",
                "zones",
                "set to",
                "high-pass",
                "taps",
                "drawn",
                "rated",
                "used",
                "1 kHz",
                "measured",
            )
            blocks.append(
                table(
                    head,
                    ("auto", "auto", "1fr", *("auto",) * 7, 20.0),
                    "lllrrrrrrrl",
                    rows,
                    pad=1.4,
                )
            )
        if rack.notes:
            blocks.append({"kind": "bullets", "items": list(rack.notes)})
    return blocks or [text("No rack was surveyed.")]


_OPTIONS_TOGETHER: Final = 18


def option_blocks(rooms: Sequence[RoomView]) -> list[Block]:
    """Return the front of alternatives, room by room: drawn whole, the marked ones as a table.

    Parameters
    ----------
    rooms
        All rooms.
    """
    blocks: list[Block] = []
    for room in rooms:
        if not room.options:
            continue
        title = f"Alternatives for {room.label}: loudspeakers against spread"
        scene = option_chart(room.options, title=title)
        here = [heading(room.label)]
        if room.reason:
            here.append(text(room.reason))
        here.append(
            {"kind": "picture", "svg": write_svg(scene), "width": scene.width, "alt": title}
        )
        marked = [option for option in room.options if option.mark]
        shown = marked or room.options
        here.append(_option_table(shown))
        others = len(room.options) - len(marked)
        if marked and others:
            here.append(text(f"{others} more are drawn above.", small=True, soft=True))
        if room.bound:
            here.append(text(room.bound, small=True, soft=True))
        blocks += [together(here)] if len(shown) <= _OPTIONS_TOGETHER else here
    return blocks or [text("No alternatives were computed.")]


def _option_table(options: Sequence[Option]) -> Block:
    rows = [
        (
            option.mark,
            option.pattern,
            str(option.count),
            f"±{option.spread_db / 2:.1f} dB",
            words.watts(option.watts_w),
            "" if option.worst_db is None else f"{option.worst_db:.1f} dB".replace("-", "−"),
            {
                "text": "met" if option.meets_brief else "missed",
                "tone": "met" if option.meets_brief else "missed",
            },
        )
        for option in options
    ]
    head = ("", "layout", "count", "spread", "taps", "worst point", "brief")
    return table(head, ("auto", "1fr", *("auto",) * 5), "llrrrrl", rows, pad=0.55)


def cut_list(view: JobView) -> Block:
    """Return types with their holes, weights, supports and terminals.

    Parameters
    ----------
    view
        The job.
    """
    imperial = view.title.is_imperial
    rows = []
    for item in view.types:
        hole = (
            "no hole"
            if item.cutout_m is None
            else "ø " + format_length(item.cutout_m, imperial=imperial, fine=True)
        )
        if imperial and item.cutout_m is not None:
            hole += f" ({1e3 * item.cutout_m:.0f} mm)"
        rows.append(
            (
                item.mark,
                item.name,
                str(item.count),
                hole,
                format_length(item.depth_m, imperial=imperial, fine=True),
                format_mass(item.mass_kg, imperial=imperial),
                item.support_text,
                item.terminals,
                item.marks_text,
            )
        )
    head = ("", "type", "count", "cut-out", "depth", "mass", "carried by", "terminals", "marks")
    widths = ("auto", "3fr", "auto", "auto", "auto", "auto", "auto", "3fr", "auto")
    return table(head, widths, "llrrrrlll", rows)


SYMPTOMS: Final = (
    (
        "Everything quiet, or the amplifier trips, after a loudspeaker was added or replaced",
        "a plain 8 Ω unit without transformer on the line, or one left in its 8 Ω position",
    ),
    ("One area silent, amplifier hot", "shorted branch, both legs on earth, failed transformer"),
    ("One loudspeaker much louder", "higher tap, or a transformer made for a lower line voltage"),
    ("One loudspeaker faint", "lower tap, loose joint, wrong pair of primary leads"),
    ("Quieter towards the far end", "cable too thin for the load, bad joint halfway"),
    (
        "Everything quiet, amplifier healthy",
        "line voltage selector of the amplifier or scale of the taps",
    ),
    ("Some in the middle silent, the ends play", "branch or tee joint, or the unit itself"),
    ("Amplifier protects on loud bass only", "transformers saturate: set the high-pass"),
    ("Amplifier protects at once", "short, earth on one leg, ohms far under plan"),
    ("Cuts out after minutes", "overload that grew over the years, heat, fan"),
    ("Thin bass between two loudspeakers", "plus and minus swapped at one of them"),
    ("Hum that volume does not change", "earth loop at the input, power cable alongside"),
    ("Rattle at some notes", "loose tile, wire on the cone or can, grille"),
    ("Ohms lower than plan", "more units, higher tap, a plain 8 Ω unit, a short near by"),
    ("Ohms higher than plan", "open branch, lower tap, wrong line voltage"),
    ("A meter shows far fewer ohms at dc", "that is the winding: measure ac at 1 kHz"),
    ("Music fine, speech not understood", "reverberation and too little direct sound, not level"),
    ("Works until the ceiling crew leaves", "a pulled joint; look where tiles were moved last"),
)
"""Trade experience: common practice, no source."""


def symptoms() -> Block:
    """Return what to look at first for what people say."""
    return table(("What is said", "look at first"), ("1fr", "1fr"), "ll", SYMPTOMS, pad=1.2)


def extending(view: JobView) -> list[Block]:
    """Return how to add a loudspeaker, and what is spare on every channel.

    Parameters
    ----------
    view
        The job.
    """
    rows = [
        (
            f"{amplifier.label} channel {channel.number}",
            channel.lines_text or "spare",
            words.watts(channel.drawn_w),
            words.watts(channel.rated_w),
            words.percent(channel.load_ratio),
        )
        for rack in view.racks
        for amplifier in rack.amplifiers
        for channel in amplifier.channels
    ]
    steps = (
        "Add it to the job and run the design again: everything fixed by hand stays where it is.",
        "Take its watts from the channel below; drawn watts and headroom stay under its rating.",
        "Use a unit with a transformer for the same line voltage; set its tap before it is wired.",
        "Wire it to the end of the line or to the nearest unit, plus to plus.",
        "Read the whole line at 1 kHz before and after, and write both into the readings.",
        "Print new papers: labels after the new unit may change, keys never do.",
    )
    numbered = [(str(number), step) for number, step in enumerate(steps, 1)]
    return [
        table(("", "To add one"), ("auto", "1fr"), "rl", numbered, pad=1.2),
        heading("What is spare"),
        table(
            ("Channel", "lines", "drawn", "rated", "used"),
            ("auto", "1fr", "auto", "auto", "auto"),
            "llrrr",
            rows,
        ),
    ]


def sheet_index(sheets: Sequence[tuple[str, str]]) -> Block:
    """Return the list of sheets of a pack.

    Parameters
    ----------
    sheets
        Number and name, in their order.
    """
    half = -(-len(sheets) // 2)
    left, right = sheets[:half], [*sheets[half:], ("", "")]
    rows = [(*one, *two) for one, two in zip(left, right, strict=False)]
    return table(("Sheet", "", "Sheet", ""), ("auto", "1fr", "auto", "1fr"), "llll", rows, pad=0.7)
