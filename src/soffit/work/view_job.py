"""The whole job as papers show it: title, headline, settings, log, and all the parts."""

from collections.abc import Sequence
from dataclasses import replace

from soffit import __version__
from soffit.errors import JobError, Problem
from soffit.model.decisions import Job
from soffit.model.findings import Finding
from soffit.papers.views import JobView, LogRow, SettingRow, TitleView
from soffit.papers.words import run_length
from soffit.tables.settings import setting, settings
from soffit.work.view_lines import cable_rows, line_views, rack_views
from soffit.work.view_material import material_rows
from soffit.work.view_meter import metered_lines, metered_racks, metered_speakers
from soffit.work.view_readings import reading_rows
from soffit.work.view_rooms import room_views
from soffit.work.view_speakers import speaker_views, type_views
from soffit.work.view_tests import commissioning_rows, expected_rows
from soffit.work.view_units import (
    finding_in_units,
    in_job_units,
    line_in_units,
    test_in_units,
)
from soffit.work.whole import Whole

_BUILT = (
    "amplifier_headroom",
    "board_unit_",
    "cable_waste",
    "ceiling_load",
    "conductor_",
    "cutout_",
    "flange_",
    "hanger_",
    "head_height",
    "high_pass_",
    "level_tolerance",
    "line_length",
    "line_loss",
    "safety_",
    "service_loop",
    "sound_test_drive",
    "speakers_per_line",
    "sprinkler_",
    "unit_gap",
    "void_",
)
"""Settings that say how an installation must be, by the beginning of their name."""


def title_view(job: Job) -> TitleView:
    """Return what every title block says.

    Parameters
    ----------
    job
        The job.
    """
    site = job.survey.site
    return TitleView(
        job=site.name,
        revision=job.design.revision,
        date=job.design.date,
        customer=site.customer,
        address=site.address,
        made_with=f"soffit {__version__}",
        job_hash=job.job_hash[:12],
        is_imperial=site.is_imperial,
        is_invented=site.is_invented,
        paper=site.paper,
        line_voltage_v=site.line_voltage_v,
        north_angle_rad=site.north_angle_rad,
    )


def _headline(whole: Whole, findings: Sequence[Finding]) -> tuple[str, ...]:
    job = whole.job
    load = sum(state.load_w for state in whole.lines.values())
    metres = sum(state.length_m for state in whole.lines.values())
    rooms = len({speaker.room_key for speaker in job.design.speakers})
    worst = max((state.worst_loss_db for state in whole.lines.values()), default=0.0)
    stops = sum(item.severity == "stop" and not item.accepted_by for item in findings)
    return (
        f"{len(job.design.speakers)} loudspeakers in {rooms} rooms on {len(job.design.lines)} lines"
        f" of {job.survey.site.line_voltage_v:.3g} V, {load:.0f} W of taps,"
        f" {run_length(metres, imperial=job.survey.site.is_imperial)} of cable.",
        f"Worst line loss {worst:.2f} dB with copper at"
        f" {job.survey.limits['conductor_degc']:g} °C.",
        f"{stops} finding{'s' * (stops != 1)} must be cured before work begins."
        if stops
        else "No finding stops the work; read the warnings before you climb.",
    )


def _setting_rows(job: Job) -> tuple[SettingRow, ...]:
    limits = job.survey.limits
    rows = []
    for row in settings():
        value = limits[row.name]
        rows.append(
            SettingRow(
                name=row.name,
                value_text=_value_text(value, row.unit, imperial=job.survey.site.is_imperial),
                source=limits.source(row.name),
                help=setting(row.name).help,
                is_own=value != row.default,
                is_limit=row.name.startswith(_BUILT),
            )
        )
    return tuple(rows)


def _value_text(value: float, unit: str, *, imperial: bool) -> str:
    """Return a setting as it is written in job.toml, and in the job's own units beside it."""
    text = f"{value:g} {unit}".strip()
    own = in_job_units(text, imperial=imperial)
    return text if own == text else f"{text} ({own})"


def _need_lines(whole: Whole) -> None:
    labels = {line.key: line.label for line in whole.job.design.lines}
    problems = [
        Problem(
            what=f"{labels[key]} cannot be shown: its wiring makes no sense",
            where=f"design.json  lines {labels[key]}",
            why=reason,
            do="soffit check names it; mend the line in design.json, or run soffit design again",
        )
        for key, reason in whole.failed
        if key in labels
    ]
    if problems:
        raise JobError.of(problems)


def job_view(
    whole: Whole,
    findings: Sequence[Finding],
    *,
    log: Sequence[LogRow] = (),
) -> JobView:
    """Return everything that any pack prints.

    Parameters
    ----------
    whole
        The job and its states.
    findings
        Findings of the checks.
    log
        Entries of the history.

    Raises
    ------
    JobError
        If a line of the design cannot be solved: half a line is nothing to take up a ladder.
    """
    job = whole.job
    _need_lines(whole)
    expected = expected_rows(whole)
    lines = metered_lines(line_views(job, whole.lines, whole.sweeps), expected)
    slack = job.survey.limits["cable_waste_ratio"]
    imperial = job.survey.site.is_imperial
    return JobView(
        title=title_view(job),
        rooms=room_views(whole),
        speakers=metered_speakers(
            speaker_views(job, whole.lines, whole.ceiling, findings), expected
        ),
        lines=tuple(line_in_units(line, imperial=imperial) for line in lines),
        headline=_headline(whole, findings),
        racks=metered_racks(rack_views(job, whole.lines, whole.sweeps), lines),
        types=type_views(job),
        cables=cable_rows(job, slack_ratio=slack),
        materials=material_rows(job, whole.ceiling, slack_ratio=slack),
        tests=tuple(
            test_in_units(row, imperial=imperial) for row in commissioning_rows(whole, expected)
        ),
        readings=reading_rows(whole),
        findings=tuple(finding_in_units(item, imperial=imperial) for item in findings),
        assumptions=tuple(
            replace(item, text=in_job_units(item.text, imperial=imperial))
            for item in job.survey.assumptions
        ),
        settings=_setting_rows(job),
        log=tuple(log),
    )
