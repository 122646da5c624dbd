"""Paper about a substitution: what another loudspeaker type changes, row by row."""

from collections.abc import Sequence

from soffit.model.findings import Finding
from soffit.papers import blocks
from soffit.papers.letters import missing_letters, shown
from soffit.papers.packs import pack_data
from soffit.papers.parts import flow
from soffit.papers.pdf import compile_pdf
from soffit.papers.views import JobView

Row = tuple[str, str, str]
"""What, as it is now, as it would be."""


def swap_pdf(
    view: JobView,
    *,
    headline: str,
    verdict: str,
    parts: Sequence[tuple[str, Sequence[Row]]],
    added: Sequence[Finding],
    cured: Sequence[Finding],
) -> bytes:
    """Lay out a substitution as PDF.

    Parameters
    ----------
    view
        The job as it is now.
    headline, verdict
        What is replaced by what, and what comes of it.
    parts
        Heading and rows: what, now, then.
    added, cured
        Findings that come and go.

    Returns
    -------
    bytes
        PDF.
    """
    content: list[blocks.Block] = [
        {"kind": "lead", "text": headline},
        blocks.text(verdict),
    ]
    for name, rows in parts:
        if rows:
            table = blocks.table(
                ("", "now", "then"), ("2fr", "2fr", "2fr"), "lll", list(rows), strong=False
            )
            content += [blocks.heading(name), table]
    for name, findings in (("New findings", added), ("Findings that go", cured)):
        if findings:
            content += [blocks.heading(name), *blocks.finding_blocks(findings)]
    content.append(blocks.cautions())
    data = pack_data(view, "Substitution", [flow("S-01", view.title.job, content)])
    return compile_pdf(shown(data, missing_letters(data)), date=view.title.date)
