"""Papers of 200 loudspeakers: all packs, drawings and lists, warm, on an invented hall."""

import sys
import time
from pathlib import Path

from benchmarks.row import Row, best_of


def rows() -> list[Row]:
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
    from papers_sample import sample_job
    from soffit.papers.dxf import write_dxf
    from soffit.papers.field_page import field_page
    from soffit.papers.labels import label_pdf
    from soffit.papers.packs import PACKS, make_packs
    from soffit.papers.tables_out import tables, write_csv, write_xlsx
    from soffit.papers.template import template_pdf
    from soffit.work.make_papers import drawing_texts

    job = sample_job(hall=(20, 10))

    def everything() -> int:
        size = sum(len(pdf) for pdf in make_packs(job, tuple(PACKS)).values())
        size += len(label_pdf(job)) + len(template_pdf(job)) + len(write_xlsx(job))
        size += len(write_dxf(job)) + len(field_page(job))
        size += sum(len(text) for text in drawing_texts(job).values())
        return size + sum(len(write_csv(table)) for table in tables(job))

    everything()
    start = time.process_time()
    everything()
    processor = time.process_time() - start
    seconds = best_of(2, everything)
    page = len(field_page(job).encode()) / 1e3
    return [
        Row(
            name="papers: 200 speakers, all packs, drawings and lists",
            measured=seconds,
            unit="s",
            target=8.0,
            target_text="< 8",
            note=f"warm, best of 2; {processor:.1f} s of processor time",
        ),
        Row(
            name="papers: field page of 205 speakers",
            measured=page,
            unit="kB",
            target=300.0,
            target_text="< 300",
        ),
    ]
