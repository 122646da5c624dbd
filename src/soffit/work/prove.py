"""Readings into the job, and a verdict on each: what was planned against what hangs."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError, Problem
from soffit.measure.doubts import Doubt, doubts_about, planned_ohm, since_mend
from soffit.measure.entry import BEGIN, LOG_NOTE, MENDED, parse_entry, value_text
from soffit.measure.expected import Expected, expected_line
from soffit.measure.gain_sheet import setting_verdict
from soffit.measure.line_plan import LinePlan
from soffit.measure.verdict import (
    LineJudge,
    Verdict,
    background_corrected_db,
    evidence_of,
    level_verdict,
    points_prove,
)
from soffit.model.decisions import Job
from soffit.model.readings import Reading
from soffit.work.measured import Ring, broken_lines, closed_rings, line_plan, line_plans
from soffit.work.settings_plan import planned_at
from soffit.work.trace_book import new_key

if TYPE_CHECKING:
    from soffit.evaluate.sound import TestLevel

LEVELS: Final = frozenset({"level", "level dba"})
CSV_COLUMNS: Final = (
    "place", "way", "tone_hz", "value", "unit", "word", "drive", "taken_at", "instrument", "who",
)  # fmt: skip
FIELD_NOTE: Final = "field page, "
"""Ticks and changes of a field page are kept among the readings; their words begin like this."""
RING_FIRST: Final = "ring opened first"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProveReport:
    """What was added, asked and judged.

    Parameters
    ----------
    added
        Readings that are in the job now.
    doubts
        Questions; readings with one were not added unless the person was sure.
    verdicts
        Verdict on every reading that counts, in their order.
    lines
        A sentence a line.
    proven
        What the points that pass prove, in words.
    notes
        Further sentences, such as a missing hand-over log.
    """

    added: tuple[Reading, ...]
    doubts: tuple[Doubt, ...]
    verdicts: tuple[Verdict, ...]
    lines: tuple[tuple[str, str], ...]
    proven: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def has_fail(self) -> bool:
        """Whether a reading fails."""
        return any(verdict.status == "fail" for verdict in self.verdicts)

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "added": [entry.key for entry in self.added],
            "doubts": [doubt.as_dict() for doubt in self.doubts],
            "verdicts": [verdict.as_dict() for verdict in self.verdicts],
            "lines": [{"line": line, "verdict": text} for line, text in self.lines],
            "proven": list(self.proven),
            "notes": list(self.notes),
        }

    def text(self) -> str:
        """Return the report as text."""
        parts = [doubt.text() for doubt in self.doubts]
        parts += [verdict.text() for verdict in self.verdicts]
        parts += [f"{line}: {text}" for line, text in self.lines]
        parts += [*self.proven, *self.notes]
        return "\n".join(parts) if parts else "no readings yet"


def now_text() -> str:
    """Return the time as readings store it."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def text_of(path: Path) -> str:
    """Read a text file that a person gave.

    Parameters
    ----------
    path
        Where it is.

    Raises
    ------
    JobError
        If it is no text in UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(
            what=f"{path.name} is not a text",
            where=f"{path.name}, byte {error.start}",
            why="it is not written in UTF-8",
            do="save it as a text file in UTF-8",
        ) from None


def place_names(job: Job) -> dict[str, str]:
    """Return the label of everything that can be read, by permanent key.

    Parameters
    ----------
    job
        The job.
    """
    names = {line.key: line.label for line in job.design.lines}
    for line in job.design.lines:
        names |= {joint.key: joint.label for joint in line.joints}
    names |= {speaker.key: speaker.label for speaker in job.design.speakers}
    for room in job.survey.rooms:
        names[room.key] = room.label
        names |= {point.key: point.label for point in room.test_points}
    # A room goes before a zone of the same name: its settings are those of its zone.
    return names | {z.key: z.label for z in job.survey.zones if z.key not in names}


def resolved(reading: Reading, names: Mapping[str, str], job: Job) -> Reading:
    """Give a reading the key of its place, the design's revision, and a whole line its way.

    Parameters
    ----------
    reading
        As typed.
    names
        Labels by key.
    job
        The job.
    """
    key = reading.place_key if reading.place_key in names else ""
    wanted = reading.place.strip().casefold()
    for candidate, label in names.items():
        if not key and wanted in {candidate.casefold(), label.casefold()}:
            key = candidate
    way = reading.direction
    lines = {line.key for line in job.design.lines}
    if key in lines and reading.quantity == "impedance" and not way:
        way = "whole"
    revision = reading.revision or job.design.revision
    return replace(
        reading,
        place_key=key,
        place=names.get(key, reading.place),
        direction=way,
        revision=revision,
    )


def readings_from_texts(
    texts: Iterable[str], *, now: str, who: str = "", instrument: str = "", drive: str = ""
) -> list[Reading]:
    """Read typed entries, reporting all that are wrong.

    Parameters
    ----------
    texts
        Entries.
    now
        Time, ISO 8601.
    who, instrument, drive
        As given.

    Raises
    ------
    JobError
        With every entry that is not understood.
    """
    found: list[Reading] = []
    problems: list[Problem] = []
    for text in texts:
        try:
            found.append(
                parse_entry(
                    text,
                    key=new_key(),
                    taken_at=now,
                    who=who,
                    instrument=instrument,
                    drive=drive,
                )
            )
        except JobError as error:
            problems += error.problems
    if problems:
        raise JobError.of(problems)
    return found


def readings_from_csv(
    text: str, *, name: str, now: str, who: str = "", instrument: str = "", drive: str = ""
) -> list[Reading]:
    """Read a table of readings.

    Parameters
    ----------
    text
        Comma- or semicolon-separated, first row with the names of the columns.
    name
        Name of the file as people see it.
    now
        Time for rows without one, ISO 8601.
    who, instrument, drive
        For rows that do not say.

    Raises
    ------
    JobError
        With every row that is not understood.
    """
    first = text.split("\n", 1)[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    rows = csv.DictReader(io.StringIO(text), delimiter=delimiter)
    columns = [column.strip() for column in rows.fieldnames or []]
    unknown = [column for column in columns if column not in CSV_COLUMNS]
    if "place" not in columns or unknown:
        raise JobError(
            what=f"{name}: columns {', '.join(columns) or 'missing'}",
            where=f"{name}:1",
            why=f"the columns are {', '.join(CSV_COLUMNS)}; place is needed",
            do="name the columns so, in any order",
        )
    found: list[Reading] = []
    problems: list[Problem] = []
    for number, raw in enumerate(rows, 2):
        cells = {(k or "").strip(): (v or "").strip() for k, v in raw.items()}
        words = [f'"{cells["place"]}"', cells.get("way", "")]
        tone = cells.get("tone_hz", "")
        words += [f"{tone} Hz" if tone else "", cells.get("value", ""), cells.get("unit", "")]
        words.append(cells.get("word", ""))
        try:
            entry = parse_entry(
                " ".join(word for word in words if word),
                key=new_key(),
                taken_at=cells.get("taken_at") or now,
                who=cells.get("who") or who,
                instrument=cells.get("instrument") or instrument,
                drive=cells.get("drive") or drive,
            )
            found.append(entry)
        except JobError as error:
            problems += [replace(p, where=f"{name}:{number}") for p in error.problems]
    if problems:
        raise JobError.of(problems)
    return found


def readings_from_json(
    text: str, *, name: str, who: str = "", instrument: str = "", drive: str = ""
) -> list[Reading]:
    """Read what a field page saved, or readings one a line.

    Parameters
    ----------
    text
        Text of the file.
    name
        Name of the file as people see it.
    who, instrument, drive
        For readings that do not say.

    Raises
    ------
    JobError
        If it is neither.
    """
    from soffit.job.api import parse_readings
    from soffit.papers.field_export import FORMAT, parse_export

    if f'"{FORMAT}"' in text:
        found = parse_export(text, name=name).readings
    else:
        found = parse_readings(text, name=name)
    return [
        replace(
            reading,
            who=reading.who or who,
            instrument=reading.instrument or instrument,
            drive=reading.drive or drive,
        )
        for reading in found
    ]


def add_readings(
    folder: Path, readings: Sequence[Reading], *, is_sure: bool = False, is_log: bool = False
) -> ProveReport:
    """Ask about new readings, keep those that are clear, and judge all that count.

    Parameters
    ----------
    folder
        Folder of the job.
    readings
        New readings, as typed.
    is_sure
        Keep readings that were asked about, where they can be used at all.
    is_log
        They are the hand-over log of the sound line.

    Returns
    -------
    ProveReport
        What was added, asked and judged.
    """
    from soffit.job.api import append_readings, open_job, standing

    job = open_job(folder)
    names = place_names(job)
    note = LOG_NOTE if is_log else ""
    fresh = [replace(resolved(r, names, job), note=r.note or note) for r in readings]
    known = {reading.key for reading in job.readings}
    fresh = [reading for reading in fresh if reading.key not in known]
    plans = line_plans(job)
    doubts = doubts_about(
        fresh,
        known=since_mend(standing(job.readings), plans),
        places=names,
        expected=planned_ohm(plans, fresh, job.survey.limits),
        now=now_text(),
    )
    held = {d.reading.key for d in doubts if d.must_answer or not is_sure}
    added = append_readings(folder, [r for r in fresh if r.key not in held])
    open_doubts = tuple(d for d in doubts if d.reading.key in held)
    return report(open_job(folder), added=added, doubts=open_doubts)


def strike_reading(folder: Path, key: str, *, who: str = "") -> ProveReport:
    """Strike a reading out; it stays in the file.

    Parameters
    ----------
    folder
        Folder of the job.
    key
        Key of the reading, or its beginning if that is clear.
    who
        As given.

    Raises
    ------
    JobError
        If no reading, or more than one, begins like that.
    """
    from soffit.job.api import append_readings, open_job, standing

    job = open_job(folder)
    found = [reading for reading in standing(job.readings) if reading.key.startswith(key)]
    if len(found) != 1:
        raise JobError(
            what=f"{len(found)} readings begin with {key!r}",
            where="--strike",
            why="a strike names one reading that counts",
            do="see soffit prove --json for the keys",
        )
    entry = replace(found[0], key=new_key(), strikes=found[0].key, taken_at=now_text(), who=who)
    append_readings(folder, [entry])
    return report(open_job(folder))


def report(job: Job, *, added: Sequence[Reading] = (), doubts: Sequence[Doubt] = ()) -> ProveReport:
    """Judge every reading that counts.

    Parameters
    ----------
    job
        The job with its readings.
    added, doubts
        What was just added and asked.
    """
    from soffit.job.api import standing

    readings = tuple(r for r in standing(job.readings) if not r.word.startswith(FIELD_NOTE))
    plans = line_plans(job)
    judges = {plan.key: _judge(plan, readings, job) for plan in plans}
    home = {place.key: plan.key for plan in plans for place in plan.places}
    home |= {plan.key: plan.key for plan in plans}
    levels = _expected_levels(job, readings)
    rings = (*closed_rings(job), *broken_lines(job))
    verdicts: list[Verdict] = []
    for reading in readings:
        if reading.word in {BEGIN, MENDED} and reading.quantity == "visual":
            continue
        if reading.quantity == "setting":
            planned = planned_at(job, reading.place_key, home)
            verdicts.append(setting_verdict(reading, planned, job.survey.limits))
        elif reading.place_key in home:
            verdicts.append(judges[home[reading.place_key]].verdict(reading))
        elif reading.quantity in LEVELS and reading.place_key in levels:
            verdicts.append(_level(reading, levels[reading.place_key], readings, job))
        else:
            verdicts.append(
                Verdict(
                    key=reading.key,
                    place=reading.place,
                    status="noted",
                    measured=value_text(reading),
                    **_ring_words(reading, rings),
                )
            )
    by_key = {verdict.key: verdict for verdict in verdicts}
    lines = tuple(
        (plan.label, text)
        for plan in plans
        if (text := _line_sentence(plan, readings, by_key, home))
    )
    return ProveReport(
        added=tuple(added),
        doubts=tuple(doubts),
        verdicts=tuple(verdicts),
        lines=lines,
        proven=_proven(readings, by_key),
        notes=(*(ring.text for ring in rings), *_notes(plans, readings, home)),
    )


def _ring_words(reading: Reading, rings: Sequence[Ring]) -> dict[str, Any]:
    """Say why a reading of a closed ring is not judged."""
    ring = next((ring for ring in rings if reading.place_key in ring.places), None)
    if ring is None or reading.quantity == "visual":
        return {}
    return {"reasons": (f"not judged: {ring.what}, {ring.why}",), "next_step": ring.do}


def _judge(plan: LinePlan, readings: Sequence[Reading], job: Job) -> LineJudge:
    log = [reading for reading in readings if reading.note == LOG_NOTE]
    evidence = evidence_of([], plan, log=log)
    return LineJudge(plan=plan, limits=job.survey.limits, log=evidence.log)


def _expected_levels(job: Job, readings: Sequence[Reading]) -> "dict[str, TestLevel]":
    if not any(reading.quantity in LEVELS for reading in readings):
        return {}
    from soffit.work.whole import evaluate_job

    sound = evaluate_job(job).sound
    return {level.key: level for room in sound.rooms for level in room.test_levels}


def _level(reading: Reading, level: "TestLevel", readings: Sequence[Reading], job: Job) -> Verdict:
    limits = job.survey.limits
    expected = level.level_dba
    if reading.quantity == "level" and reading.frequency_hz:
        from soffit.acoustics.bands import band_index

        expected = float(level.octave_db[band_index(reading.frequency_hz)])
    drive = limits["sound_test_drive_db"]
    text = f"pink noise {drive:g} dB under the line voltage"
    noise = [r for r in readings if r.quantity == "noise" and r.place_key == reading.place_key]
    if noise and reading.value is not None and noise[-1].value is not None:
        corrected = background_corrected_db(reading.value, noise[-1].value)
        if corrected is None:
            return Verdict(
                key=reading.key,
                place=reading.place,
                status="look",
                measured=f"{reading.value:.1f} dBA",
                expected=f"{expected:.1f} dBA",
                reasons=("less than 3 dB over the noise of the room: it says nothing",),
                next_step="read again at night, or with more drive",
            )
        reading = replace(reading, value=round(corrected, 1))
        text += f", corrected for {noise[-1].value:.1f} dBA of noise"
    return level_verdict(reading, expected, drive_text=text, limits=limits)


def _line_sentence(
    plan: LinePlan,
    readings: Sequence[Reading],
    by_key: Mapping[str, Verdict],
    home: Mapping[str, str],
) -> str:
    mine = [r for r in readings if home.get(r.place_key) == plan.key and r.key in by_key]
    if not mine:
        return ""
    count = dict.fromkeys(("pass", "look", "fail", "noted"), 0)
    for reading in mine:
        count[by_key[reading.key].status] += 1
    text = f"{count['pass']} pass, {count['look']} look, {count['fail']} fail"
    if count["fail"] or count["look"]:
        return f"{text}; find it with soffit trace --line {plan.label}"
    read = {r.place_key for r in mine if r.quantity == "impedance" and r.direction == "alone"}
    heard = {r.place_key for r in mine if r.quantity == "ear"}
    missing = len({plan.places[i].key for i in plan.speakers} - (read | heard))
    if missing:
        return (
            f"{text}; a line that reads right at the rack is not proven: {missing} loudspeakers"
            " were neither heard nor read alone"
        )
    return f"{text}; every loudspeaker was heard or read"


def _proven(readings: Sequence[Reading], by_key: Mapping[str, Verdict]) -> tuple[str, ...]:
    levels = [r for r in readings if r.quantity in LEVELS and r.key in by_key]
    judged = [r for r in levels if by_key[r.key].status in {"pass", "look", "fail"}]
    if not judged:
        return ()
    passed = sum(by_key[r.key].status == "pass" for r in judged)
    if passed < len(judged):
        return (f"{passed} of {len(judged)} levels pass: 95 % of the seats are not proven",)
    sure = points_prove(passed)
    return (
        f"{passed} levels of {passed} pass: if the points were chosen by chance, that proves 95 %"
        f" of the places with {sure:.0%} confidence (59 points give 95 %)",
    )


def _notes(
    plans: Sequence[LinePlan], readings: Sequence[Reading], home: Mapping[str, str]
) -> tuple[str, ...]:
    logged = {home.get(r.place_key) for r in readings if r.note == LOG_NOTE}
    read = {home.get(r.place_key) for r in readings}
    bare = [plan.label for plan in plans if plan.key in read and plan.key not in logged]
    if not bare:
        return ()
    return (
        f"no hand-over log of {', '.join(bare)}: read every joint out and every loudspeaker alone"
        " once it is sound, and add them with --log; a later hunt is then surer",
    )


def expected_sheet(folder: Path, *, tones_hz: Sequence[float]) -> list[Expected]:
    """Expect every reading of every line of a job, and the level at its test points.

    Parameters
    ----------
    folder
        Folder of the job.
    tones_hz
        Tones of the impedance meter. [Hz]

    Raises
    ------
    JobError
        If nothing can be expected of a line, as the papers refuse it.
    """
    from soffit.job.api import open_job

    job = open_job(folder)
    problems = [
        Problem(
            what=lost.what,
            where=f"design.json  lines {lost.label}",
            why=lost.why,
            do=lost.do,
        )
        for lost in broken_lines(job)
    ]
    if problems:
        raise JobError.of(problems)
    closed = {ring.line_key: ring for ring in closed_rings(job)}
    rows: list[Expected] = []
    for line in job.design.lines:
        found = expected_line(line_plan(job, line), job.survey.limits, tones_hz=tones_hz)
        if line.key in closed:
            found = tuple(replace(row, drive=f"{RING_FIRST}; {row.drive}") for row in found)
        rows += found
    return rows + _level_rows(job)


def _level_rows(job: Job) -> list[Expected]:
    """Expect the levels at the test points, as the commissioning sheet has them."""
    if not any(room.test_points for room in job.survey.rooms):
        return []
    from soffit.work.whole import evaluate_job

    tolerance = job.survey.limits["level_tolerance_db"]
    drive_db = job.survey.limits["sound_test_drive_db"]
    return [
        Expected(
            place=level.label,
            place_key=level.key,
            quantity="level dba",
            direction="",
            frequency_hz=None,
            plan=level.level_dba,
            middle=level.level_dba,
            low=level.level_dba - tolerance,
            high=level.level_dba + tolerance,
            unit="dBA",
            drive=f"pink noise {drive_db:g} dB under the line voltage, Leq 15 s or longer",
            tolerance=f"± {tolerance:g} dB (common practice, no source)",
        )
        for room in evaluate_job(job).sound.rooms
        for level in room.test_levels
    ]


def report_of(folder: Path) -> ProveReport:
    """Judge the readings of a job as they stand.

    Parameters
    ----------
    folder
        Folder of the job.
    """
    from soffit.job.api import open_job

    return report(open_job(folder))
