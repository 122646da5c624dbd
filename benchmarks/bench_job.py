"""Opening and writing jobs: the demo job, an edit on the page, and a design of 2000 speakers."""

import dataclasses
import tempfile
from importlib import resources
from pathlib import Path

from benchmarks.row import Row, best_of
from soffit.job.api import create_job, edit_survey, open_job, write_design
from soffit.job.catalogue import load_demo_catalogue
from soffit.model.catalogue import Tap
from soffit.model.speakers import Speaker


def rows() -> list[Row]:
    file = resources.files("soffit.work") / "demos" / "library" / "job.toml"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "job"
        create_job(folder, file.read_text(encoding="utf-8"))

        def open_cold() -> None:
            load_demo_catalogue.cache_clear()
            open_job(folder)

        height = iter(range(96, 120))

        def edit() -> None:
            path = "rooms.hall.ceilings[0].height"
            edit_survey(folder, [(path, f"{next(height)} in")], open_job(folder).job_revision)

        opened, edited = best_of(5, open_cold), best_of(5, edit)
        speakers = tuple(
            Speaker(
                key=f"s{number}",
                label=f"L1-{number}",
                room_key="hall",
                ceiling_key="grid",
                type_id="ceiling-4",
                position=(number * 0.1, 1.0),
                mount_height_m=3.0,
                tap=Tap(power_w=6.0, voltage_v=100.0),
            )
            for number in range(2000)
        )

        def write() -> None:
            design = open_job(folder).design
            moved = dataclasses.replace(speakers[7], position=(design.revision + 1.0, 1.0))
            new = dataclasses.replace(design, speakers=(*speakers[:7], moved, *speakers[8:]))
            write_design(folder, new, design.revision)

        written = best_of(5, write)
    return [
        _row("job: open the demo job, catalogue read anew", opened, 0.25),
        _row("job: one edit on the page, checked and synced", edited, 0.25),
        _row("job: move one of 2000 speakers, read and synced", written, 1.0),
    ]


def _row(name: str, measured: float, target: float) -> Row:
    text = f"< {target:g} s"
    return Row(
        name=name,
        measured=measured,
        unit="s",
        target=target,
        target_text=text,
        note="shortest of 5 runs",
    )
