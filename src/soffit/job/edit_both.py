"""Change job.toml and design.json as one step, so that one undo takes both back."""

import dataclasses
import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

from soffit.job.design_file import DESIGN_FILE, design_text, parse_design
from soffit.job.edit import Edit, edited_text
from soffit.job.files import locked
from soffit.job.parse import JOB_FILE
from soffit.job.repair import current_text, repair
from soffit.job.revision import revision_of
from soffit.job.texts import need_text
from soffit.job.write import check_revision, check_survey_text, transact
from soffit.model.decisions import Design


def edit_survey_and_design(
    folder: Path,
    edits: Sequence[Edit],
    base_revision: int,
    change: Callable[[Design], Design],
    *,
    who: str = "",
    what: str = "",
) -> int:
    """Change values of job.toml, and the design with them, as one step of history.

    Parameters
    ----------
    folder
        Folder of the job.
    edits
        Changes of job.toml, in order.
    base_revision
        Revision of job.toml that the writer has read.
    change
        What becomes of the design as it stands.
    who, what
        For history.

    Returns
    -------
    int
        New revision of job.toml.

    Raises
    ------
    JobError
        With every problem that the changed job would have; nothing is written then.
    StaleError
        If somebody has written job.toml since ``base_revision``.
    """
    need_text(folder, JOB_FILE)
    with locked(folder):
        repair(folder)
        current = need_text(folder, JOB_FILE)
        check_revision(folder, JOB_FILE, revision_of(JOB_FILE, current), base_revision)
        text = edited_text(current, edits)
        check_survey_text(folder, text)
        texts = {JOB_FILE: text}
        before = parse_design(current_text(folder, DESIGN_FILE))
        after = change(before)
        if design_text(after) != design_text(before):
            date = after.date or dt.datetime.now(dt.UTC).date().isoformat()
            new = dataclasses.replace(after, revision=before.revision + 1, date=date)
            texts[DESIGN_FILE] = design_text(new)
            parse_design(texts[DESIGN_FILE])  # never write what could not be read again
        entry = transact(folder, texts, kind="edit", who=who, what=what)
        return next(item.revision for item in entry.files if item.name == JOB_FILE)
