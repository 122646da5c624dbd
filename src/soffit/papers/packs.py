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
_LISTS: Final = "MR"
_PAGE_LINES: Final = 66.0
"""What may share a page, and how many lines of small text a page carries."""


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
        In order. Lists (numbers M and R) are joined while one page carries them; drawings,
        cards, cautions and what is filled in by hand stay on pages of their own.
    """
    out: list[Section] = []
    room = 0.0
    for section in sections:
        is_list = section["kind"] == "flow" and section["number"][0] in _LISTS
        tall = _lines(section) if is_list else 0.0
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
        room = _PAGE_LINES - tall
        out.append({**section, "is_list": is_list, "index": (section["name"],)})
    return out


def _lines(section: Section) -> float:
    """Return about how many lines of small text a section takes, rather too many than too few."""
    lines = 4.0
    for block in section["blocks"]:
        lines += 2.0 + 2.0 * len(block.get("rows", ()))
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
