"""The commissioning sheet: every test in the order of work, with what to expect."""

from collections.abc import Iterator, Mapping

from soffit.decibel import field_ratio
from soffit.evaluate.sound import RoomSound
from soffit.evaluate.sound_room import RoomNoise
from soffit.measure.expected import Expected, expected_line
from soffit.measure.gain_sheet import PlannedSetting
from soffit.measure.line_of_job import opened_ring
from soffit.papers.views import TestRow
from soffit.tables.load import load_table
from soffit.work.measured import line_plan, ring_ends
from soffit.work.settings_plan import planned_line_settings, planned_zone_settings
from soffit.work.whole import Whole

PHASES = {
    1: "Look: supports, safety wires, labels, rated parts",
    2: "Dead tests: amplifier off and unplugged, both legs off",
    3: "Impedance at 1 kHz (never dc ohms): whole lines, then joint by joint",
    5: "Live, pink noise low: walk and listen; volts where in doubt",
    7: "Noise floor, rooms empty",
    8: "Level at the seats",
    9: "Settings as left",
    10: "Speech",
    11: "Rattle",
}
"""Headings by their step in the trade's usual order of commissioning."""


def expected_rows(whole: Whole) -> dict[str, tuple[Expected, ...]]:
    """Return what instruments should show on every line, by line key.

    Parameters
    ----------
    whole
        The job and its states.
    """
    job = whole.job
    return {
        line.key: expected_line(line_plan(job, line), job.survey.limits)
        for line in job.design.lines
        if line.key in whole.lines
    }


def commissioning_rows(
    whole: Whole, expected: Mapping[str, tuple[Expected, ...]] | None = None
) -> tuple[TestRow, ...]:
    """Return the rows of the commissioning sheet, in the order of work.

    Parameters
    ----------
    whole
        The job and its states.
    expected
        What instruments should show, by line key; worked out here by default.
    """
    rows = [*_visual(whole), *_insulation(whole), *_rings(whole)]
    for line_rows in (expected_rows(whole) if expected is None else expected).values():
        rows += [_line_row(row) for row in line_rows if _is_printed(row)]
    rows += [*_rooms(whole)]
    rows += [*_settings(whole)]
    return tuple(sorted(rows, key=lambda row: row.step))


def _is_printed(row: Expected) -> bool:
    """Leave out what only a fault hunt needs: the sheet stays short enough to be filled in."""
    return row.quantity in {"insulation", "ear"} or row.direction in {"whole", "out"}


def _line_row(row: Expected) -> TestRow:
    dead = row.quantity in {"insulation", "dc resistance"}
    step = 2 if dead else 5 if row.quantity == "ear" else 3
    words = {
        "whole": "whole line at the amplifier end",
        "out": "line opened here, looking away from the amplifier",
    }
    what = row.tolerance if dead else words.get(row.direction, "listen from the floor")
    return TestRow(
        step=step,
        phase=PHASES[step],
        place=row.place,
        place_key=row.place_key,
        what=what,
        quantity=row.quantity,
        expected=row.middle,
        low=row.low,
        high=row.high,
        unit=row.unit,
        expected_text=row.text,
        drive=row.drive,
        frequency_hz=row.frequency_hz,
        direction=row.direction,
    )


def _visual(whole: Whole) -> Iterator[TestRow]:
    for room in whole.job.survey.rooms:
        here = [item for item in whole.job.design.speakers if item.room_key == room.key]
        if here:
            yield TestRow(
                step=1,
                phase=PHASES[1],
                place=room.label,
                place_key=room.key,
                what=f"{len(here)} units: support, safety wire, label, trim, rated parts",
                quantity="visual",
                expected_text="all",
                room_label=room.label,
            )


def _insulation(whole: Whole) -> Iterator[TestRow]:
    """Yield the test of the cable alone, where the wiring rules of the region ask for it."""
    if whole.job.survey.site.region not in {"UK", "EU"}:
        return
    table = load_table("insulation_test")
    circuit = "up to 500 V"
    volts = table.number("test_voltage", circuit=circuit)
    least = table.number("least_mohm", circuit=circuit)
    for line in whole.job.design.lines:
        yield TestRow(
            step=2,
            phase=PHASES[2],
            place=line.label,
            place_key=line.key,
            what=f"insulation at {volts:.0f} V d.c., the cable alone: amplifier and every unit off",
            quantity="insulation",
            expected_text=f"{least:.1f} MΩ or more",
            unit="Ω",
            drive="nothing: amplifier off",
            note=f"{table.source.document} {table.source.place}; local rules first",
        )


def _rings(whole: Whole) -> Iterator[TestRow]:
    """Rings are opened before the dead tests, and closed after them."""
    for line in whole.job.design.lines:
        closing = opened_ring(line)[1]
        if closing:
            yield TestRow(
                step=2,
                phase=PHASES[2],
                place=line.label,
                place_key=line.key,
                what=f"a ring: take off {ring_ends(whole.job, line, closing)}, at both ends;"
                " read it as a chain; put the run back before power",
                quantity="visual",
                expected_text="ring opened",
            )


def _rooms(whole: Whole) -> Iterator[TestRow]:
    limits = whole.job.survey.limits
    drive_db = -limits["sound_test_drive_db"]
    volts = whole.job.survey.site.line_voltage_v * float(field_ratio(drive_db))
    for sound in whole.sound.rooms:
        yield _noise_row(sound)
        for level in sound.test_levels:
            yield TestRow(
                step=8,
                phase=PHASES[8],
                place=level.label,
                place_key=level.key,
                what=f"meter at {level.position_m[2]:.1f} m, Leq 15 s, background corrected",
                quantity="level dba",
                expected=level.level_dba,
                low=level.level_dba - limits["level_tolerance_db"],
                high=level.level_dba + limits["level_tolerance_db"],
                unit="dBA",
                drive=f"pink noise, line at {volts:.2f} V r.m.s.",
                room_label=sound.room_label,
            )
        if sound.speech.asked_sti is not None:
            yield TestRow(
                step=10,
                phase=PHASES[10],
                place=sound.room_label,
                place_key=sound.room_key,
                what="STIPA through the whole speech path, 2 readings within 0.03",
                quantity="sti",
                expected=sound.speech.reached_sti,
                low=sound.speech.asked_sti,
                high=1.0,
                drive="STIPA signal at programme level",
                room_label=sound.room_label,
            )
        yield TestRow(
            step=11,
            phase=PHASES[11],
            place=sound.room_label,
            place_key=sound.room_key,
            what="slow sine 50 to 500 Hz at programme level",
            quantity="ear",
            expected_text="no rattle, no buzz",
            drive="sine sweep",
            room_label=sound.room_label,
        )


def _noise_text(noise: RoomNoise | None) -> str:
    """Say what an empty room may read; noise of people is not there when it is empty."""
    if noise is None:
        return "not surveyed: write it down"
    level = f"{noise.level_dba:.0f} dBA"
    if noise.is_people:
        return f"write it down; planned for {level} with people in"
    return f"{level} or less"


def _noise_row(sound: RoomSound) -> TestRow:
    noise = sound.noise
    return TestRow(
        step=7,
        phase=PHASES[7],
        place=sound.room_label,
        place_key=sound.room_key,
        what="room empty, ventilation on, Leq 30 s or longer",
        quantity="noise",
        expected_text=_noise_text(noise),
        drive="nothing: amplifier muted",
        room_label=sound.room_label,
        note=noise.text if noise else "",
    )


def _settings(whole: Whole) -> Iterator[TestRow]:
    """Yield the gain and processing sheet: every line and zone as planned, with room as left."""
    job = whole.job
    planned: list[PlannedSetting] = []
    for line in job.design.lines:
        if line.key in whole.sweeps or line.key in whole.lines:
            planned += planned_line_settings(job, line.key)
    planned += planned_zone_settings(job.survey.zones, whole.sound.zone_lags)
    for row in planned:
        yield TestRow(
            step=9,
            phase=PHASES[9],
            place=row.place,
            place_key=row.place_key,
            what=row.what,
            quantity="setting",
            expected_text=row.text if row.name in row.text else f"{row.name} {row.text}",
        )
