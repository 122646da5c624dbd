"""What the design plans for each line's channel and each zone, for the sheet and for prove."""

from collections.abc import Iterable, Mapping

from soffit.decibel import field_ratio
from soffit.evaluate.line_sweep import sweep_line
from soffit.evaluate.sound_zones import ZoneLag
from soffit.measure.gain_sheet import Crossover, PlannedSetting, line_settings, zone_settings
from soffit.measure.line_of_job import opened_ring
from soffit.model.decisions import Job
from soffit.model.zones import Zone


def planned_line_settings(job: Job, line_key: str) -> tuple[PlannedSetting, ...]:
    """Return what is planned for one line.

    Parameters
    ----------
    job
        The job.
    line_key
        Key of the line.
    """
    line = job.design.line(line_key)
    sweep = sweep_line(
        opened_ring(line)[0],
        job.design.speakers,
        job.catalogue,
        conductor_degc=job.survey.limits["conductor_degc"],
    )
    labels = {speaker.key: speaker.label for speaker in job.design.speakers}
    drive = float(field_ratio(-job.survey.limits["sound_test_drive_db"]))
    return line_settings(
        key=line.key,
        label=line.label,
        voltage_v=line.voltage_v,
        drive_v=line.voltage_v * drive,
        high_pass_hz=sweep.high_pass_hz,
        limit_key=labels.get(sweep.flux_limit_key, ""),
        crossover=_crossover(job, line_key),
    )


def _crossover(job: Job, line_key: str) -> Crossover | None:
    """Say where subwoofers on lines of their own take over; ``None`` where there are none.

    The frequency is the one of the low end: the setting, or the other speakers' own limit where
    that is higher.
    """
    line = job.design.line(line_key)
    types = {s.key: job.catalogue.speaker(s.type_id) for s in job.design.speakers}
    own = [s for s in job.design.speakers if s.key in line.speaker_keys]
    is_low = {types[s.key].kind == "subwoofer" for s in own}
    if len(is_low) != 1:
        return None
    low = is_low.pop()
    facing = [s for s in job.design.speakers if (types[s.key].kind == "subwoofer") is not low]
    keys = {s.room_key for s in facing if s.line_key != line_key} & {s.room_key for s in own}
    if not keys:
        return None
    others = [s for s in (facing if low else own) if s.room_key in keys]
    limit = max(types[s.key].transformer.lf_limit_hz for s in others)
    return Crossover(
        hz=max(job.survey.limits["lowfreq_crossover_hz"], limit),
        is_low=low,
        rooms=tuple(room.label for room in job.survey.rooms if room.key in keys),
    )


def planned_zone_settings(
    zones: Iterable[Zone], lags: Iterable[ZoneLag] = ()
) -> tuple[PlannedSetting, ...]:
    """Return what is planned for zones.

    Parameters
    ----------
    zones
        Zones.
    lags
        Where zones are heard apart, if the sound field was worked out.
    """
    labels = {zone.key: zone.label for zone in zones}
    advice: dict[str, list[str]] = {}
    for lag in lags:
        late = labels.get(lag.late_zone_key, lag.late_zone_key)
        advice.setdefault(lag.early_zone_key, []).append(
            f"heard up to {1e3 * lag.lag_s:.0f} ms before {late}:"
            f" {1e3 * lag.suggested_delay_s:.0f} ms more if one hears through"
        )
    return tuple(
        row
        for zone in zones
        for row in zone_settings(
            key=zone.key,
            label=zone.label,
            delay_s=zone.delay_s,
            priority=zone.priority,
            advice="; ".join(advice.get(zone.key, ())),
        )
    )


def planned_at(job: Job, place_key: str, known: Mapping[str, str]) -> tuple[PlannedSetting, ...]:
    """Return what is planned where a setting was read: a line, a zone, or a room of a zone.

    Parameters
    ----------
    job
        The job.
    place_key
        Key of the place.
    known
        Key of the line of each loudspeaker and joint.
    """
    lines = {line.key for line in job.design.lines}
    key = known.get(place_key, place_key)
    if key in lines:
        return planned_line_settings(job, key)
    zones = [z for z in job.survey.zones if z.key == place_key or place_key in z.room_keys]
    return planned_zone_settings(zones[:1])
