"""Labels for cables, loudspeakers, amplifiers and racks on common sheets, each with a QR code."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from soffit.papers import fonts, words
from soffit.papers.cards import link
from soffit.papers.codes import qr_svg
from soffit.papers.letters import missing_letters, shown
from soffit.papers.pdf import compile_pdf
from soffit.papers.views import JobView, Paper


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSheet:
    """A sheet of labels by its measures, all in millimetres."""

    page: tuple[float, float]
    columns: int
    rows: int
    size: tuple[float, float]
    pitch: tuple[float, float]
    corner: tuple[float, float]


LABEL_SHEETS: Final[dict[str, LabelSheet]] = {
    "a4-3x8": LabelSheet(
        page=(210.0, 297.0),
        columns=3,
        rows=8,
        size=(70.0, 37.0),
        pitch=(70.0, 37.0),
        corner=(0.0, 0.5),
    ),
    "a4-3x7": LabelSheet(
        page=(210.0, 297.0),
        columns=3,
        rows=7,
        size=(63.5, 38.1),
        pitch=(66.0, 38.1),
        corner=(7.2, 15.1),
    ),
    "letter-3x10": LabelSheet(
        page=(215.9, 279.4),
        columns=3,
        rows=10,
        size=(66.7, 25.4),
        pitch=(69.8, 25.4),
        corner=(4.8, 12.7),
    ),
    "letter-2x5": LabelSheet(
        page=(215.9, 279.4),
        columns=2,
        rows=5,
        size=(101.6, 50.8),
        pitch=(105.4, 50.8),
        corner=(4.4, 12.7),
    ),
}
"""Sheets as they are sold by measure: common practice, no source. Check yours against a ruler."""

_EDGE: Final = 4.5
_TALL: Final = 35.0
"""Labels as tall as that have larger lettering. [mm]"""

_CAP_MM: Final = fonts.CAP_RATIO * 25.4 / 72.0
"""Height of a capital per point of type. [mm]"""

_LONGEST_CODE: Final = 400
"""Characters of a code: at four bytes each they still fit the largest symbol."""

_USUAL: Final[dict[Paper, str]] = {
    "a4": "a4-3x8",
    "a3": "a4-3x8",
    "letter": "letter-3x10",
    "ansi-b": "letter-3x10",
}


def label_rows(view: JobView) -> list[tuple[str, list[str], str]]:
    """Return all labels: heading, lines below it, content of the code.

    Parameters
    ----------
    view
        The job.
    """
    out: list[tuple[str, list[str], str]] = []
    job = f"{view.title.job} rev {view.title.revision}"
    for row in view.cables:
        code = f"{row.run_label} | {row.from_label} to {row.to_label} | {job}"
        for here, there in ((row.from_label, row.to_label), (row.to_label, row.from_label)):
            out.append((row.run_label, [f"here {here}", f"other end {there}", row.cable], code))
    for item in view.speakers:
        tap = f"{item.tap_text}, {view.title.line_voltage_v:.3g} V line"
        kind = f"{item.type_mark}: {item.type_name}" if item.type_mark else item.type_name
        out.append((item.label, [tap, item.room_label, kind], link(view, item)))
    for rack in view.racks:
        out.append((rack.label, [rack.place_text, job], f"{rack.label} | {job}"))
        for amplifier in rack.amplifiers:
            out.append(
                (
                    amplifier.label,
                    [amplifier.type_name, words.named("rack", rack.label)],
                    f"{amplifier.label} | {job}",
                )
            )
            for channel in amplifier.channels:
                name = f"{amplifier.label}.{channel.number}"
                lines = [
                    f"{channel.lines_text or 'spare'}, {channel.voltage_v:.3g} V line",
                    f"plan {words.watts(channel.load_w)},"
                    f" {words.ohms(channel.meter_ohm or channel.impedance_ohm) or 'no load'}",
                    "measured ............ Ω on ............",
                ]
                out.append((name, lines, f"{name} | {channel.lines_text} | {job}"))
    return out


def _wrapped(lines: Sequence[str], *, room_mm: float, cap_mm: float) -> list[str]:
    """Return lines that fit, a long one over two."""
    out: list[str] = []
    for line in lines:
        parts = fonts.wrap(line, room_mm=room_mm, cap_mm=cap_mm)
        rest = " ".join(parts[1:])
        out += [*parts[:1], *([fonts.fit(rest, room_mm=room_mm, cap_mm=cap_mm)] if rest else [])]
    return out


def label_pdf(view: JobView, *, sheet: str = "") -> bytes:
    """Return sheets of labels as PDF.

    Parameters
    ----------
    view
        The job.
    sheet
        One of :data:`LABEL_SHEETS`; empty for the usual one of the job's paper.
    """
    form = LABEL_SHEETS[sheet or _USUAL[view.title.paper]]
    inset = 2.0 if form.corner[0] > 2.0 else _EDGE  # no printer reaches the edge of a sheet
    room = form.size[0] - 2.0 * inset - 1.5 - min(form.size[1] - 6.0, 16.0)
    head_pt, line_pt = (18.0, 10.0) if form.size[1] >= _TALL else (13.0, 8.0)
    head_cap, line_cap = (_CAP_MM * points for points in (head_pt, line_pt))
    lines_room = int((form.size[1] - 4.0 - 1.9 * head_cap) / (1.92 * line_cap))
    rows = label_rows(view)
    per = form.columns * form.rows
    sections: list[dict[str, Any]] = []
    for start in range(0, max(len(rows), 1), per):
        labels = [
            {
                "head": fonts.fit(head, room_mm=room, cap_mm=head_cap, weight="semibold"),
                "lines": _wrapped(lines, room_mm=room, cap_mm=line_cap)[:lines_room],
                "qr": qr_svg(code[:_LONGEST_CODE]),
            }
            for head, lines, code in rows[start : start + per]
        ]
        sections.append(
            {
                "kind": "labels",
                "name": f"Labels, sheet {start // per + 1}",
                "page_width": form.page[0],
                "page_height": form.page[1],
                "columns": form.columns,
                "left": form.corner[0],
                "top": form.corner[1],
                "pitch_x": form.pitch[0],
                "pitch_y": form.pitch[1],
                "width": form.size[0],
                "height": form.size[1],
                "inset": inset,
                "head_pt": head_pt,
                "line_pt": line_pt,
                "labels": labels,
            }
        )
    data = {
        "title": {"job": view.title.job, "pack": "Labels", "made_with": view.title.made_with},
        "page": {"width": form.page[0], "height": form.page[1]},
        "sections": sections,
    }
    return compile_pdf(shown(data, missing_letters(view)), date=view.title.date)
