"""All checks in one list: run them, list them, explain one."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from soffit.check import (
    amplifier,
    cable,
    ceiling,
    clearance,
    codes,
    equipment,
    job,
    line,
    low,
    placing,
    sheets,
    sound,
    subwoofer,
    weight,
)
from soffit.check.kit import Check, Context, Evaluated, LowSound, found
from soffit.errors import TableError
from soffit.evaluate.ceiling import CeilingState
from soffit.evaluate.line import LineState
from soffit.evaluate.line_sweep import LineSweep
from soffit.evaluate.sound import SoundState
from soffit.model.decisions import Job
from soffit.model.findings import DEFER, Finding
from soffit.model.survey import Acceptance
from soffit.tables.settings import Limits, setting

CHECKS: Final[tuple[Check, ...]] = (
    *job.CHECKS,
    *ceiling.CHECKS,
    *clearance.CHECKS,
    *weight.CHECKS,
    *line.CHECKS,
    *amplifier.CHECKS,
    *cable.CHECKS,
    *sound.CHECKS,
    *placing.CHECKS,
    *low.CHECKS,
    *subwoofer.CHECKS,
    *codes.CHECKS,
    *equipment.CHECKS,
    *sheets.CHECKS,
)
"""Every check there is."""

_ORDER: Final = {"stop": 0, "warn": 1, "note": 2}


def check_of(code: str) -> Check:
    """Return one check by its code.

    Parameters
    ----------
    code
        Such as ``LINE-02``, upper or lower case.

    Returns
    -------
    Check
        The entry.

    Raises
    ------
    TableError
        If there is no such code.
    """
    for entry in CHECKS:
        if entry.code == code.strip().upper():
            return entry
    family = code.strip().upper().split("-")[0]
    near = [entry.code for entry in CHECKS if entry.code.startswith(family + "-")]
    msg = f"there is no finding {code!r}"
    raise TableError(
        msg,
        where="code",
        why=f"codes are {', '.join(near or sorted({item.code.split('-')[0] for item in CHECKS}))}",
        do="list them all with the list option of the check command",
    )


def run_checks(
    job_now: Job,
    *,
    ceiling_state: CeilingState,
    lines: Mapping[str, LineState] | None = None,
    sweeps: Mapping[str, LineSweep] | None = None,
    sound_state: SoundState | None = None,
    low_states: Sequence[LowSound] = (),
    failed: Sequence[tuple[str, str]] = (),
    more: Sequence[Finding] = (),
) -> tuple[Finding, ...]:
    """Run every check over a job and what was computed from it.

    Parameters
    ----------
    job_now
        Survey, catalogue, design, readings.
    ceiling_state
        Speakers against ceilings.
    lines, sweeps
        Lines at 1 kHz and over frequency, by key.
    sound_state
        All rooms; ``None`` if nobody computed them, which is a finding.
    low_states
        Rooms whose low end was computed.
    failed
        Key of a line, and why it could not be computed.
    more
        Findings that a decision worded itself; those of a code that is not registered are left
        out.

    Returns
    -------
    tuple of Finding
        Stops first, then warnings, then notes; within them by code and place. What a named role
        has accepted says so and stays in the list.
    """
    context = Context(
        job=job_now,
        states=Evaluated(
            ceiling=ceiling_state,
            lines=dict(lines or {}),
            sweeps=dict(sweeps or {}),
            sound=sound_state,
            low=tuple(low_states),
            failed=tuple(failed),
            more=tuple(more),
        ),
    )
    findings = [finding for entry in CHECKS for finding in entry.run(context)]
    return accept(findings, job_now.survey.acceptances, context)


def accept(
    findings: Sequence[Finding], acceptances: Sequence[Acceptance], context: Context
) -> tuple[Finding, ...]:
    """Mark findings that a named role has accepted, and report acceptances that fit nothing.

    Parameters
    ----------
    findings
        All findings.
    acceptances
        From the survey.
    context
        The job, for the note about an acceptance that fits nothing.

    Returns
    -------
    tuple of Finding
        Sorted.
    """
    used: set[int] = set()
    marked = []
    for finding in findings:
        fitting = [
            number
            for number, item in enumerate(acceptances)
            if item.code.upper() == finding.code
            and item.place in {finding.place, finding.place_key, finding.room_key}
            and item.role.strip()
            and item.reason.strip()
        ]
        used.update(fitting)
        if fitting:
            item = acceptances[fitting[0]]
            finding = replace(finding, accepted_by=f"{item.role}: {item.reason}")  # noqa: PLW2901 the marked one takes its place
        marked.append(finding)
    lost = Check.run(
        replace(
            check_of("JOB-14"),
            find=lambda _: [
                found(
                    item.place,
                    f"{item.role or 'nobody'} accepts {item.code} there, and there is no such"
                    " finding, or role or reason are missing",
                    key=item.place,
                    limit="a finding, a role and a reason",
                )
                for number, item in enumerate(acceptances)
                if number not in used
            ],
        ),
        context,
    )
    return tuple(sorted((*marked, *lost), key=_rank))


def _rank(finding: Finding) -> tuple[int, str, str, str]:
    return _ORDER[finding.severity], finding.code, finding.place, finding.what


def open_stops(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the stops that nobody has accepted: they decide the exit code.

    Parameters
    ----------
    findings
        All findings.
    """
    return tuple(item for item in findings if item.severity == "stop" and not item.accepted_by)


def explain(code: str, *, limits: Limits | None = None) -> str:
    """Write the page of a finding: what it means, what it compares, what to do.

    Parameters
    ----------
    code
        Such as ``LINE-02``.
    limits
        Limits in force; the defaults if not given.

    Returns
    -------
    str
        Markdown.

    Raises
    ------
    TableError
        If there is no such code.
    """
    entry = check_of(code)
    kinds = {
        "stop": "stop: do not build it so",
        "warn": "warn: look before you build",
        "note": "note: know it",
    }
    parts = [
        f"# {entry.code}: {entry.title}",
        f"Severity: {kinds[entry.severity]}.",
        f"**Why it matters.** {entry.why}",
        f"**What to do.** {entry.do[:1].upper()}{entry.do[1:].rstrip('.')}.",
    ]
    if entry.has_mend:
        parts.append(
            "**Mend.** The finding carries the change as data; `soffit check --mend"
            f" {entry.code}` applies it as a decision made by hand."
        )
    else:
        parts.append(f"**Mend.** None: {entry.no_mend}.")
    parts.append(_limits_text(entry, limits or Limits()))
    if entry.is_caution:
        parts.append(DEFER)
    return "\n\n".join(parts) + "\n"


def _limits_text(entry: Check, limits: Limits) -> str:
    if not entry.limits:
        return f"**Compared with.** {entry.source[:1].upper()}{entry.source[1:]}."
    lines = ["**Limits**, all editable under `[limits]` in job.toml:", ""]
    lines += ["| name | value | source | meaning |", "|--|--|--|--|"]
    for name in entry.limits:
        row = setting(name)
        value = f"{limits[name]:.4g} {row.unit}".strip()
        lines.append(f"| `{name}` | {value} | {limits.source(name)} | {row.help} |")
    return "\n".join(lines)


def list_checks() -> tuple[tuple[str, str, str], ...]:
    """Return code, severity and title of every check, in the order of the manual."""
    return tuple((entry.code, entry.severity, entry.title) for entry in CHECKS)
