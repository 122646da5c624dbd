"""Which sheets make which pack, and in which order."""

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any, Final, Literal

from soffit.papers import fonts
from soffit.papers.letters import shown
from soffit.papers.parts import Maker, Progress, Section
from soffit.papers.pdf import compile_pdf
from soffit.papers.views import JobView, Paper

Pack = Literal["job", "installer", "commissioner", "office", "handover"]

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


_PARTS: Final[dict[Pack, tuple[str, ...]]] = {
    "job": (
        "safety",
        "overview",
        "plans",
        "maps",
        "schematics",
        "schedule",
        "cables",
        "materials",
        "racks",
        "cards",
        "findings",
        "tests",
    ),
    "installer": ("safety", "overview", "plans", "schematics", "cables", "types", "cards"),
    "commissioner": ("safety", "racks", "schematics", "tests"),
    "office": ("maps", "options", "schedule", "materials", "racks", "findings"),
    "handover": (
        "overview",
        "plans",
        "schematics",
        "schedule",
        "racks",
        "readings",
        "settings",
        "extending",
        "symptoms",
        "findings",
    ),
}


_AT_ONCE: Final = 2
_LISTS: Final = "MRH"
_PAGE_MM: Final = 236.0
_TITLE_MM: Final = 15.0
_LINE_MM: Final = 3.7
_TEXT_MM: Final = 180.0
"""What may share a page; what a page, a title, a line of text take. [mm]"""


def make_packs(
    view: JobView,
    packs: Sequence[Pack] = ("job",),
    *,
    paper: Paper | None = None,
    progress: Progress = lambda _: None,
) -> dict[Pack, bytes]:
    """Return packs as PDF files; drawings that several packs share are drawn once.

    Parameters
    ----------
    view
        The job.
    packs
        Which packs; ``job`` is the one that ``soffit papers`` prints without being asked.
    paper
        Paper size instead of the job's.
    progress
        Called with a few words before each long part.

    Returns
    -------
    dict
        PDF/A-2b by pack; same job, same bytes.
    """
    if paper is not None:
        view = replace(view, title=replace(view.title, paper=paper))
    maker = Maker(view, progress)
    with ThreadPoolExecutor(_AT_ONCE) as pool:  # the compiler runs beside Python
        waiting: dict[Pack, Future[bytes]] = {}
        for pack in packs:
            parts = [section for name in _PARTS[pack] for section in maker.part(name)]
            parts = joined(parts)
            sections = [*maker.cover(PACKS[pack], parts), *parts]
            data = shown(pack_data(view, PACKS[pack], sections), maker.missing)
            waiting[pack] = pool.submit(compile_pdf, data, date=view.title.date)
        for pack in packs:
            progress(f"{PACKS[pack]}: PDF")
            waiting[pack].result()
    return {pack: future.result() for pack, future in waiting.items()}


def joined(sections: Sequence[Section]) -> list[Section]:
    """Return sections with short lists that follow each other on one page.

    Parameters
    ----------
    sections
        In order. Lists (numbers M and R) are joined while one page carries them, and numbered
        without a gap; drawings, cards, cautions and what is filled in by hand stay on pages of
        their own.
    """
    out: list[Section] = []
    room = 0.0
    for section in sections:
        is_list = section["kind"] == "flow" and section["number"][0] in _LISTS
        tall = _TITLE_MM + _tall(section["blocks"]) if is_list else 0.0
        before = out[-1] if out else None
        follows = before is not None and before.get("is_list", False)
        if is_list and follows and before is not None and tall <= room:
            title = {"kind": "heading", "level": 1, "text": section["name"]}
            out[-1] = {
                **before,
                "index": (*before["index"], section["name"]),
                "blocks": [*before["blocks"], title, *section["blocks"]],
            }
            room -= tall
            continue
        room = _PAGE_MM - tall
        number = section["number"]
        if is_list:
            letter = number[0]
            number = f"{letter}-{1 + sum(item['number'][0] == letter for item in out):02d}"
        out.append({**section, "number": number, "is_list": is_list, "index": (section["name"],)})
    return out


def _tall(blocks: Sequence[dict[str, Any]]) -> float:
    """Return about how high blocks run, in millimetres, rather too high than too low."""
    tall = 0.0
    for block in blocks:
        if block["kind"] == "table":
            pad = 2.0 * block.get("pad", 1.0)
            rows = sum(pad - 1.2 + _LINE_MM * _row_lines(block, row) for row in block["rows"])
            tall += 2.0 + pad + _LINE_MM + rows
        elif block["kind"] == "together":
            tall += _tall(block["blocks"])
        elif block["kind"] in {"note", "bullets"}:
            words = block.get("lines", block.get("items", ()))
            tall += 10.0 + sum(1.2 + 3.3 * _lines(text, _TEXT_MM) for text in words)
        elif block["kind"] == "facts":
            tall += 2.0 + sum(1.8 + 3.3 * _lines(text, 150.0) for _, text in block["rows"])
        else:
            tall += 9.0 + _LINE_MM * _lines(block.get("text", ""), _TEXT_MM)
    return tall


def _lines(text: str, room_mm: float) -> int:
    return max(1, -(-int(1.5 * len(text)) // max(int(room_mm), 1)))


def _row_lines(block: dict[str, Any], row: Sequence[Any]) -> int:
    """Return how many lines the tallest cell of a row takes; columns by share lose the others."""
    if len(row) == 1:
        return 2
    shares = [
        float(str(w).removesuffix("fr")) if str(w).endswith("fr") else 0 for w in block["widths"]
    ]
    free = _TEXT_MM - 17.0 * shares.count(0)
    lines = 1
    for cell, share in zip(row, shares, strict=False):
        words = [cell] if isinstance(cell, str) else [cell["text"], cell.get("below", "")]
        if share:
            room_mm = max(free * share / sum(shares), 12.0)
            lines = max(lines, sum(_lines(word, room_mm) for word in words if word))
    return lines


def pack_data(view: JobView, name: str, sections: Sequence[Section]) -> dict[str, Any]:
    """Return what the template needs to lay out sections as one file.

    Parameters
    ----------
    view
        The job.
    name
        Name of the pack.
    sections
        Its parts, in order.
    """
    title = view.title
    width, height = PORTRAIT_MM[title.paper]
    return {
        "title": {
            "job": fonts.fit(title.job, room_mm=width - 98.0, cap_mm=2.33, weight="semibold"),
            "whole_job": title.job,
            "pack": name,
            "made_with": title.made_with,
            "revision": str(title.revision),
            "date": title.date or "no date",
            "customer": fonts.fit(title.customer, room_mm=60.0, cap_mm=1.87),
            "is_invented": title.is_invented,
        },
        "page": {"width": width, "height": height},
        "sections": list(sections),
    }


def make_pack(
    view: JobView,
    pack: Pack = "job",
    *,
    paper: Paper | None = None,
    progress: Progress = lambda _: None,
) -> bytes:
    """Return one pack as PDF; see :func:`make_packs`.

    Parameters
    ----------
    view
        The job.
    pack
        Which pack.
    paper
        Paper size instead of the job's.
    progress
        Called with a few words before each long part.
    """
    return make_packs(view, (pack,), paper=paper, progress=progress)[pack]
