"""Run the checks of a job, explain them, and apply their mends."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from soffit.errors import JobError
from soffit.model.decisions import Job
from soffit.model.findings import DEFER, Finding, Mend
from soffit.papers.finding_groups import FindingGroup, group_findings
from soffit.work.edit import EditKind, HandEdit, edit_design
from soffit.work.summary import finding_dict
from soffit.work.whole import Whole, evaluate_job


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """Findings of a job, worst first."""

    job_name: str
    revision: int
    findings: tuple[Finding, ...]

    @property
    def has_stop(self) -> bool:
        """Whether a stop stands that nobody has accepted."""
        return any(item.severity == "stop" and not item.accepted_by for item in self.findings)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "job": self.job_name,
            "revision": self.revision,
            "has_stop": self.has_stop,
            "findings": [finding_dict(item) for item in self.findings],
        }

    def text(self) -> str:
        """Return it as text; the cautions' common ending is said once."""
        counts = {
            name: sum(item.severity == name for item in self.findings)
            for name in ("stop", "warn", "note")
        }
        lines = [f"{self.job_name}, revision {self.revision}", ""]
        lines += [_group_text(item) for item in group_findings(self.findings)]
        lines += ["", "  ".join(f"{name} {count}" for name, count in counts.items())]
        if any(item.is_caution for item in self.findings):
            lines += ["", DEFER]
        return "\n".join(lines)


def _group_text(group: FindingGroup) -> str:
    item = group.first
    limit = f"  (limit {item.limit}; {item.limit_source})" if item.limit else ""
    lines = [f"{item.code} {item.severity:<4} {group.places}: {group.what}{limit}"]
    lines.append(f"        do: {group.do}")
    mends = dict.fromkeys(mend.text for entry in group.members for mend in entry.mends)
    lines += [f"        mend: {text}" for text in mends]
    if item.accepted_by:
        lines.append(f"        accepted by {item.accepted_by}")
    return "\n".join(lines)


def find_all(whole: Whole) -> tuple[Finding, ...]:
    """Return all findings of an evaluated job.

    Parameters
    ----------
    whole
        The job and its states.
    """
    from soffit.check.kit import LowSound
    from soffit.check.registry import run_checks as run_registry

    low = [
        LowSound(
            room_key=key,
            tilt_db=judged.tilt_db,
            wanted_tilt_db=judged.wanted_tilt_db,
            deviation_db=judged.deviation_db,
        )
        for key, judged in whole.low.items()
    ]
    return run_registry(
        whole.job,
        ceiling_state=whole.ceiling,
        lines=whole.lines,
        sweeps=whole.sweeps,
        sound_state=whole.sound,
        low_states=low,
        failed=whole.failed,
        more=[
            *(finding for plan in whole.low_plans.values() for finding in plan.findings),
            *letter_findings(whole.job),
        ],
    )


def letter_findings(job: Job) -> tuple[Finding, ...]:
    """Return what the papers' font cannot show of a job's own words.

    Parameters
    ----------
    job
        The job.

    Returns
    -------
    tuple of Finding
        None, or one that names every letter and where the first of them stands.
    """
    from soffit.check.registry import check_of
    from soffit.papers.letters import missing_letters, texts_of

    words = (job.survey, job.design.speakers, job.design.lines, job.catalogue)
    missing = missing_letters(words)
    if not missing:
        return ()
    entry = check_of("PAPER-01")
    first = next(text for text in texts_of(words) if missing[0] in text)
    names = ", ".join(f"{letter} (U+{ord(letter):04X})" for letter in missing)
    return (
        Finding(
            code=entry.code,
            severity=entry.severity,
            place="job",
            what=f"the papers' font lacks {names}, for example in {first!r}",
            do=entry.do,
            limit_source=entry.source,
        ),
    )


def check_job(job: Job) -> CheckReport:
    """Evaluate and check a job in memory.

    Parameters
    ----------
    job
        The job.
    """
    findings = find_all(evaluate_job(job))
    return CheckReport(
        job_name=job.survey.site.name, revision=job.design.revision, findings=findings
    )


def run_checks(folder: Path) -> CheckReport:
    """Check the job in a folder.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    CheckReport
        Findings, worst first.

    Raises
    ------
    JobError
        If the job cannot be read.
    """
    from soffit.job.api import open_job

    return check_job(open_job(folder))


_EDIT_OF_MEND: Mapping[str, EditKind] = {
    "move": "move",
    "tap": "tap",
    "cable": "cable",
    "type": "type",
    "remove": "remove",
    "add": "add",
    "channel": "channel",
}


def _edit_of(mend: Mend) -> HandEdit:
    kind = _EDIT_OF_MEND.get(mend.kind)
    if kind is None:
        raise JobError(
            what=f"this mend cannot be applied by a command: {mend.text}",
            where=f"mend {mend.kind} {mend.target_key}",
            why="it changes the survey or how the job is divided into lines",
            do="change job.toml yourself and run the design again",
        )
    return HandEdit(kind=kind, target_key=mend.target_key, value=mend.value)


def apply_mends(
    folder: Path, code: str, *, place: str | None = None, who: str = ""
) -> tuple[str, ...]:
    """Apply the first mend of every finding of one code, as decisions made by hand.

    Parameters
    ----------
    folder
        Folder of the job.
    code
        Code of the finding.
    place
        Only at this label or key.
    who
        For history.

    Returns
    -------
    tuple of str
        What was changed, in words.

    Raises
    ------
    JobError
        If there is no such finding, or it has no mend.
    """
    from soffit.job.api import open_job

    job = open_job(folder)
    findings: Sequence[Finding] = [
        item
        for item in check_job(job).findings
        if item.code == code.upper() and (place is None or place in {item.place, item.place_key})
    ]
    mends = [item.mends[0] for item in findings if item.mends]
    if not mends:
        known = "it has no mend there" if findings else "there is no such finding in this job"
        raise JobError(
            what=f"{code} cannot be mended" + (f" at {place}" if place else ""),
            where=str(folder),
            why=known,
            do=f"see soffit check --explain {code}",
        )
    chosen = list(dict.fromkeys(mends))
    words = "; ".join(mend.text for mend in chosen)
    edit_design(
        folder,
        [_edit_of(mend) for mend in chosen],
        base_revision=job.design.revision,
        who=who,
        what=f"mend {code.upper()}: {words}",
    )
    return tuple(mend.text for mend in chosen)


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """One finding that there can be.

    Parameters
    ----------
    page
        Its page in Markdown; empty in a list.
    """

    code: str
    severity: str
    title: str
    page: str = ""

    def text(self, *, full: bool) -> str:
        """Return it as text.

        Parameters
        ----------
        full
            The whole page, else one line.
        """
        return self.page if full else f"{self.code:<10} {self.severity:<5} {self.title}"

    def as_dict(self) -> dict[str, str]:
        """Return it as plain data."""
        return {
            "code": self.code,
            "severity": self.severity,
            "title": self.title,
            "page": self.page,
        }


def explain_checks(code: str | None) -> tuple[Explained, ...]:
    """Explain one finding, or list them all.

    Parameters
    ----------
    code
        Which; all if ``None``.

    Returns
    -------
    tuple of Explained
        One, or all in the order of the manual.

    Raises
    ------
    TableError
        If there is no such code.
    """
    from soffit.check.registry import check_of, explain, list_checks

    if code:
        entry = check_of(code)
        return (
            Explained(
                code=entry.code, severity=entry.severity, title=entry.title, page=explain(code)
            ),
        )
    return tuple(
        Explained(code=name, severity=severity, title=title)
        for name, severity, title in list_checks()
    )
