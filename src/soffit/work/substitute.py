"""A loudspeaker type is not to be had: what another one changes, and the change itself."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from soffit.check.sound import spread_db
from soffit.decibel import power_ratio_db
from soffit.errors import JobError
from soffit.model.catalogue import SpeakerType, Tap
from soffit.model.decisions import Job
from soffit.model.findings import Finding
from soffit.model.speakers import Speaker
from soffit.units import format_length, format_mass
from soffit.work.run_checks import find_all
from soffit.work.summary import finding_dict
from soffit.work.whole import Whole, evaluate_job

_SPEECH = slice(3, 7)
"""Octaves 500 Hz to 4 kHz, by which two types are matched in level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One thing as it is now and as it would be.

    Parameters
    ----------
    place
        What it is about.
    now, then
        In words.
    """

    place: str
    now: str
    then: str

    def row(self) -> tuple[str, str, str]:
        """Return it as a row of a table."""
        return self.place, self.now, self.then


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitution:
    """What replacing one type by another changes.

    Parameters
    ----------
    old_id, new_id
        Types.
    speakers
        Labels of the speakers that change.
    taps
        Their taps, one row for each tap in use.
    units
        Hole, trim, depth, mass and marks.
    rooms, lines
        Levels and evenness; load, impedance and loss.
    added, cured
        Findings that come and go.
    choices
        Speaker key and its new tap.
    """

    old_id: str
    new_id: str
    speakers: tuple[str, ...]
    taps: tuple[Change, ...]
    units: tuple[Change, ...]
    rooms: tuple[Change, ...]
    lines: tuple[Change, ...]
    added: tuple[Finding, ...]
    cured: tuple[Finding, ...]
    choices: tuple[tuple[str, str], ...]

    @property
    def headline(self) -> str:
        """What is replaced by what."""
        return f"{self.new_id} instead of {self.old_id}: {len(self.speakers)} speakers"

    @property
    def verdict(self) -> str:
        """What comes of it, in one sentence."""
        stops = sum(item.severity == "stop" for item in self.added)
        warnings = sum(item.severity == "warn" for item in self.added)
        if stops:
            return f"It does not fit as it is: {stops} new stops, {warnings} new warnings."
        if warnings:
            return f"It fits with care: {warnings} new warnings, no new stop."
        return "It fits: no new stop and no new warning."

    def parts(self) -> tuple[tuple[str, tuple[Change, ...]], ...]:
        """Return headings with their rows."""
        return (
            ("Taps", self.taps),
            ("The unit", self.units),
            ("Rooms", self.rooms),
            ("Lines", self.lines),
        )

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "old": self.old_id,
            "new": self.new_id,
            "verdict": self.verdict,
            "speakers": list(self.speakers),
            **{
                name.lower().replace(" ", "_"): [
                    {"place": item.place, "now": item.now, "then": item.then} for item in changes
                ]
                for name, changes in self.parts()
            },
            "added": [finding_dict(item) for item in self.added],
            "cured": [finding_dict(item) for item in self.cured],
        }

    def text(self) -> str:
        """Return it as text."""
        lines = [self.headline, self.verdict]
        for name, changes in self.parts():
            if changes:
                lines += ["", name]
                lines += [f"  {item.place}: {item.now} -> {item.then}" for item in changes]
        for name, findings in (("New findings", self.added), ("Findings that go", self.cured)):
            if findings:
                lines += ["", name]
                lines += [
                    f"  {item.code} {item.severity} {item.place}: {item.what}" for item in findings
                ]
        return "\n".join(lines)


def matching_tap(old: SpeakerType, tap: Tap, new: SpeakerType, *, line_voltage_v: float) -> Tap:
    """Return the tap of another type that comes nearest in level.

    Parameters
    ----------
    old, tap
        Type and tap as they are.
    new
        Type to take its place.
    line_voltage_v
        Nominal line voltage. [V]

    Returns
    -------
    Tap
        Nearest in the mean level of 500 Hz to 4 kHz at 1 m; the lower one of two.

    Raises
    ------
    JobError
        If the type has no tap at that voltage.
    """
    taps = new.taps_at(line_voltage_v)
    if not taps:
        offers = ", ".join(sorted({f"{own.voltage_v:.4g} V" for own in new.taps})) or "no voltage"
        raise JobError(
            what=f"{new.id} has no tap at {line_voltage_v:.4g} V",
            where=f"catalogue speaker_types.{new.id}.taps",
            why=f"its taps are for {offers}",
            do="choose another type",
        )
    wanted = _level_db(old, tap)
    return min(taps, key=lambda own: (round(abs(_level_db(new, own) - wanted), 6), own.power_w))


def _level_db(entry: SpeakerType, tap: Tap) -> float:
    watts = float(power_ratio_db(entry.delivered_w(tap)))
    return float(np.mean(entry.sensitivity_db[_SPEECH])) + watts


def compare(job: Job, old_id: str, new_id: str) -> Substitution:
    """Work out what changes when one type takes the place of another, places and wiring kept.

    Parameters
    ----------
    job
        The job.
    old_id, new_id
        Types.

    Returns
    -------
    Substitution
        Complete.

    Raises
    ------
    JobError
        If no speaker is of the old type, both are the same, or the new one has no tap.
    TableError
        If a type is unknown.
    """
    old, new = job.catalogue.speaker(old_id), job.catalogue.speaker(new_id)
    before = [item for item in job.design.speakers if item.type_id == old_id]
    if not before or old_id == new_id:
        used = ", ".join(sorted({item.type_id for item in job.design.speakers})) or "none"
        raise JobError(
            what=f"{old_id} cannot be replaced by {new_id}",
            where="swap",
            why="no speaker of the design is of that type" if not before else "both are the same",
            do=f"choose among the types in use: {used}",
        )
    volts = job.survey.site.line_voltage_v
    swapped = {
        item.key: replace(
            item, type_id=new_id, tap=matching_tap(old, item.tap, new, line_voltage_v=volts)
        )
        for item in before
    }
    speakers = tuple(swapped.get(item.key, item) for item in job.design.speakers)
    now = evaluate_job(job)
    then = evaluate_job(replace(job, design=replace(job.design, speakers=speakers)))
    first, second = find_all(now), find_all(then)
    imperial = job.survey.site.is_imperial
    return Substitution(
        old_id=old_id,
        new_id=new_id,
        speakers=tuple(item.label for item in before),
        taps=_tap_changes(before, swapped),
        units=_unit_changes(old, new, imperial=imperial),
        rooms=_room_changes(now, then, sorted({item.room_key for item in before})),
        lines=_line_changes(now, then),
        added=_missing_in(second, first),
        cured=_missing_in(first, second),
        choices=tuple((key, f"{item.tap.power_w:g} W") for key, item in sorted(swapped.items())),
    )


def _missing_in(these: Sequence[Finding], those: Sequence[Finding]) -> tuple[Finding, ...]:
    known = {(item.code, item.place_key or item.place) for item in those}
    return tuple(
        item
        for item in these
        if (item.code, item.place_key or item.place) not in known and item.severity != "note"
    )


def _tap_changes(before: Sequence[Speaker], swapped: dict[str, Speaker]) -> tuple[Change, ...]:
    rows: dict[tuple[str, str], list[str]] = {}
    for item in before:
        rows.setdefault((_tap_text(item.tap), _tap_text(swapped[item.key].tap)), []).append(
            item.label
        )
    return tuple(
        Change(place=", ".join(sorted(labels)), now=now, then=then)
        for (now, then), labels in sorted(rows.items())
    )


def _tap_text(tap: Tap) -> str:
    return f"{tap.power_w:g} W" + (f" ({tap.mark})" if tap.mark else "")


def _unit_changes(old: SpeakerType, new: SpeakerType, *, imperial: bool) -> tuple[Change, ...]:
    def length(value: float | None) -> str:
        if value is None:
            return "none"
        return format_length(value, imperial=imperial, fine=True)

    rows = [
        ("cut-out", length(old.cutout_diameter_m), length(new.cutout_diameter_m)),
        ("trim", length(old.flange_diameter_m), length(new.flange_diameter_m)),
        (
            "depth above the face",
            length(max(old.depth_m, old.box_depth_m)),
            length(max(new.depth_m, new.box_depth_m)),
        ),
        (
            "mass",
            format_mass(old.mass_kg, imperial=imperial),
            format_mass(new.mass_kg, imperial=imperial),
        ),
        ("carried by", old.support, new.support),
        ("plenum mark", old.plenum_mark or "none", new.plenum_mark or "none"),
        ("fire mark", old.fire_mark or "none", new.fire_mark or "none"),
        ("terminals", old.terminals, new.terminals),
        ("bypass", old.bypass_mark or "none", new.bypass_mark or "none"),
    ]
    changes = [Change(place=name, now=now, then=then) for name, now, then in rows if now != then]
    if old.cutout_diameter_m and new.cutout_diameter_m:
        gap = new.flange_diameter_m - old.cutout_diameter_m
        if new.cutout_diameter_m < old.cutout_diameter_m:
            covers = "its trim still covers them" if gap > 0.0 else "its trim does not cover them"
            changes.append(
                Change(place="holes cut already", now="fit", then=f"too large; {covers}")
            )
        elif new.cutout_diameter_m > old.cutout_diameter_m:
            changes.append(Change(place="holes cut already", now="fit", then="cut them wider"))
    return tuple(changes)


def _room_changes(now: Whole, then: Whole, keys: Sequence[str]) -> tuple[Change, ...]:
    changes = []
    for key in keys:
        room, first, second = (
            now.job.survey.room(key),
            now.sound.room(key),
            then.sound.room(key),
        )
        if first is None or second is None:
            continue
        rows = [
            (
                "level with the line filled",
                f"{first.full_level_dba:.1f} dBA",
                f"{second.full_level_dba:.1f} dBA",
            ),
            (
                f"evenness, {first.measure}",
                f"±{spread_db(room, first) / 2.0:.1f} dB",
                f"±{spread_db(room, second) / 2.0:.1f} dB",
            ),
            ("STI", f"{first.speech.reached_sti:.2f}", f"{second.speech.reached_sti:.2f}"),
        ]
        changes += [
            Change(place=f"{room.label}, {name}", now=one, then=two) for name, one, two in rows
        ]
    return tuple(changes)


def _line_changes(now: Whole, then: Whole) -> tuple[Change, ...]:
    changes = []
    for key, first in now.lines.items():
        second = then.lines.get(key)
        if second is None or second == first:
            continue
        changes.append(
            Change(
                place=first.label,
                now=f"{first.load_w:g} W of taps, {first.impedance_ohm:.1f} Ω,"
                f" loss {first.worst_loss_db:.2f} dB",
                then=f"{second.load_w:g} W of taps, {second.impedance_ohm:.1f} Ω,"
                f" loss {second.worst_loss_db:.2f} dB",
            )
        )
    return tuple(changes)


def candidates(job: Job, old_id: str) -> tuple[str, ...]:
    """Return the types that could take a type's place, nearest in size first.

    Parameters
    ----------
    job
        The job.
    old_id
        Type that is not to be had.

    Returns
    -------
    tuple of str
        Ids of the same kind with taps at the line voltage.
    """
    old = job.catalogue.speaker(old_id)
    fitting = [
        entry
        for entry in job.catalogue.speaker_types
        if entry.id != old_id
        and entry.kind == old.kind
        and entry.taps_at(job.survey.site.line_voltage_v)
    ]

    def distance(entry: SpeakerType) -> tuple[float, str]:
        hole = (entry.cutout_diameter_m or 0.0) - (old.cutout_diameter_m or 0.0)
        return abs(hole), entry.id

    return tuple(entry.id for entry in sorted(fitting, key=distance))


def substitute(folder: Path, old_id: str, new_id: str | None = None) -> tuple[Substitution, ...]:
    """Say what changes in the job in a folder when a type is replaced.

    Parameters
    ----------
    folder
        Folder of the job.
    old_id
        Type that is not to be had.
    new_id
        Type to take its place; every type of the same kind if ``None``.

    Returns
    -------
    tuple of Substitution
        One, or one for each candidate, the best first: fewest new stops, then fewest warnings.

    Raises
    ------
    JobError
        If there is nothing to replace, or no candidate.
    """
    from soffit.job.api import open_job

    job = open_job(folder)
    wanted = (new_id,) if new_id else candidates(job, old_id)
    if not wanted:
        raise JobError(
            what=f"the catalogue has no other type like {old_id}",
            where="catalogue speaker_types",
            why=f"none of the same kind has a tap at {job.survey.site.line_voltage_v:.4g} V",
            do="enter one in catalogue.toml",
        )
    return tuple(sorted((compare(job, old_id, item) for item in wanted), key=_rank))


def _rank(found: Substitution) -> tuple[int, int, str]:
    stops = sum(item.severity == "stop" for item in found.added)
    return stops, len(found.added) - stops, found.new_id


def apply_substitution(folder: Path, old_id: str, new_id: str, *, who: str = "") -> Substitution:
    """Replace a type in the job in a folder, as a decision made by hand.

    Parameters
    ----------
    folder
        Folder of the job.
    old_id, new_id
        Types.
    who
        For history.

    Returns
    -------
    Substitution
        What was changed.

    Raises
    ------
    JobError
        If there is nothing to replace, or somebody changed the design meanwhile.
    """
    from soffit.job.api import open_job
    from soffit.work.edit import HandEdit, edit_design

    job = open_job(folder)
    found = compare(job, old_id, new_id)
    edits = []
    for key, tap in found.choices:
        edits += [
            HandEdit(kind="type", target_key=key, value=new_id),
            HandEdit(kind="tap", target_key=key, value=tap),
        ]
    edit_design(
        folder, edits, base_revision=job.design.revision, who=who, what=f"swap: {found.headline}"
    )
    return found


def substitution_paper(folder: Path, found: Substitution) -> Path:
    """Print a substitution into the job's folder of papers.

    Parameters
    ----------
    folder
        Folder of the job.
    found
        What it changes.

    Returns
    -------
    Path
        The PDF.
    """
    from soffit.papers.swap import swap_pdf
    from soffit.work.make_papers import view_of_folder, write_file

    content = swap_pdf(
        view_of_folder(folder),
        headline=found.headline,
        verdict=found.verdict,
        parts=[(name, [item.row() for item in changes]) for name, changes in found.parts()],
        added=found.added,
        cured=found.cured,
    )
    path = folder / "papers" / f"swap-{found.old_id}-{found.new_id}.pdf"
    write_file(path, content)
    return path
