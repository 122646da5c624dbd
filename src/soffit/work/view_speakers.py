"""Speakers and their types as papers show them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from string import ascii_uppercase

from soffit.evaluate.ceiling import CeilingState, SpeakerFit, support_kind
from soffit.evaluate.line import LineState
from soffit.model.catalogue import SpeakerType
from soffit.model.decisions import Job
from soffit.model.findings import Finding
from soffit.model.lines import Line
from soffit.model.speakers import Speaker
from soffit.papers.views import SpeakerView, TypeView
from soffit.units import format_force, format_length, format_mass
from soffit.work.view_lines import place_labels, wires_at


def tap_text(power_w: float) -> str:
    """Return a tap as people say it, such as "7.5 W".

    Parameters
    ----------
    power_w
        Tap power. [W]
    """
    return f"{power_w:.3g} W"


def speaker_views(
    job: Job,
    states: Mapping[str, LineState],
    ceiling: CeilingState,
    findings: Sequence[Finding],
) -> tuple[SpeakerView, ...]:
    """Return every speaker, sorted by label.

    Parameters
    ----------
    job
        The job.
    states
        Solved lines by key.
    ceiling
        Every speaker against its ceiling.
    findings
        Findings of the job.
    """
    labels, marks = place_labels(job), type_marks(job)
    lines = {line.key: line for line in job.design.lines}
    views = [
        replace(
            _view(
                job, speaker, lines.get(speaker.line_key or ""), states, ceiling, findings, labels
            ),
            type_mark=marks[speaker.type_id],
        )
        for speaker in job.design.speakers
    ]
    return tuple(sorted(views, key=lambda view: (view.line_label, view.order, view.label)))


def _codes(findings: Sequence[Finding], key: str) -> tuple[str, ...]:
    return tuple(sorted({item.code for item in findings if item.place_key == key}))


def _view(
    job: Job,
    speaker: Speaker,
    line: Line | None,
    states: Mapping[str, LineState],
    ceiling: CeilingState,
    findings: Sequence[Finding],
    labels: Mapping[str, str],
) -> SpeakerView:
    entry = job.catalogue.speaker(speaker.type_id)
    fit = ceiling.speaker(speaker.key)
    on_line = states[line.key].speaker(speaker.key) if line else None
    wire_in, wires_out = wires_at(job, line, speaker.key, labels) if line else (None, ())
    room = job.survey.room(speaker.room_key)
    zones = [zone.label for zone in job.survey.zones if speaker.room_key in zone.room_keys]
    return SpeakerView(
        key=speaker.key,
        label=speaker.label,
        room_key=speaker.room_key,
        room_label=room.label,
        line_key=line.key if line else "",
        line_label=line.label if line else "",
        order=on_line.order if on_line else 0,
        type_id=entry.id,
        type_name=entry.name,
        kind=entry.kind,
        position=speaker.position,
        mount_height_m=speaker.mount_height_m,
        tap_text=tap_text(speaker.tap.power_w),
        tap_w=speaker.tap.power_w,
        tap_mark=speaker.tap.mark,
        tile=(speaker.tile.column, speaker.tile.row) if speaker.tile else None,
        tile_text=fit.place_text,
        place_text=_from_walls(fit, imperial=job.survey.site.is_imperial),
        voltage_v=on_line.voltage_v if on_line else 0.0,
        loss_db=on_line.loss_db if on_line else 0.0,
        delivered_w=on_line.delivered_w if on_line else 0.0,
        impedance_out_ohm=on_line.outward_ohm if on_line else None,
        impedance_alone_ohm=on_line.load_ohm if on_line else speaker.tap.impedance_ohm,
        cutout_m=entry.cutout_diameter_m,
        flange_m=entry.flange_diameter_m,
        depth_m=entry.depth_m,
        mass_kg=entry.mass_kg,
        support_text=_support_text(job, entry, fit),
        safety_text=_safety_text(job, fit),
        void_text=_void_text(fit, imperial=job.survey.site.is_imperial),
        aim_text=_aim_text(speaker),
        bypass_text=f"never leave it at: {entry.bypass_mark}" if entry.bypass_mark else "",
        wire_in=wire_in,
        wires_out=wires_out,
        cautions=_cautions(job, speaker, entry),
        findings=_codes(findings, speaker.key),
        state=speaker.state,
        is_fixed=speaker.fixed_place,
        zone_label=", ".join(zones),
        card_note=speaker.note,
    )


def _from_walls(fit: SpeakerFit, *, imperial: bool) -> str:
    parts = [
        f"{format_length(wall.distance_m, imperial=imperial)} from the {wall.wall}"
        for wall in fit.from_walls[:2]
    ]
    return ", ".join(parts)


def _aim_text(speaker: Speaker) -> str:
    x, y, z = speaker.aim
    if z < -0.999:
        return "straight down"
    return f"aimed along ({x:.2f}, {y:.2f}, {z:.2f})"


def _support_text(job: Job, entry: SpeakerType, fit: SpeakerFit) -> str:
    imperial = job.survey.site.is_imperial
    mass = format_mass(entry.mass_kg, imperial=imperial)
    ceiling = job.survey.ceiling(fit.room_key, fit.ceiling_key)
    if not fit.support_id:
        kind = support_kind(entry, ceiling)
        return f"{kind} for {mass}: no part in the catalogue, choose one that says so"
    part = job.catalogue.hardware(fit.support_id)
    capacity = format_mass(fit.support_capacity_kg, imperial=imperial)
    carried = f"{part.name} carries it (unit {mass}, part {capacity})"
    if entry.cutout_diameter_m is None:
        return carried
    sheet = "board" if ceiling.kind == "plasterboard" else "tile"
    return f"{carried}; the {sheet} carries nothing"


def _safety_text(job: Job, fit: SpeakerFit) -> str:
    imperial = job.survey.site.is_imperial
    wire = job.catalogue.hardware(fit.safety_wire_id).name if fit.safety_wire_id else "safety wire"
    length = (
        f", {format_length(fit.safety_length_m, imperial=imperial)} with slack"
        if fit.safety_length_m is not None
        else ", length by the structure found"
    )
    return (
        f"{wire}{length}, to the structure, never to tee or hanger;"
        f" breaking load {format_force(fit.safety_breaking_n, imperial=imperial)} or more"
        f"{_seismic_text(fit)}"
    )


def _seismic_text(fit: SpeakerFit) -> str:
    if fit.seismic is None:
        return ""
    if fit.seismic.carried_by == "independent":
        return "; earthquakes: the structure carries it, not the grid"
    if fit.seismic.wires == 1:
        return "; earthquakes: one slack 12 ga wire to the structure besides"
    return "; earthquakes: two slack 12 ga wires to the structure, at opposite corners"


def _void_text(fit: SpeakerFit, *, imperial: bool) -> str:
    if fit.void_need_m <= 0.0:
        return ""
    need = format_length(fit.void_need_m, imperial=imperial, fine=True)
    if fit.void_have_m is None:
        return f"needs {need} above the face; nobody has measured it here: look before cutting"
    have = format_length(fit.void_have_m, imperial=imperial, fine=True)
    return f"needs {need} above the face, {have} there ({fit.void_by})"


def _cautions(job: Job, speaker: Speaker, entry: SpeakerType) -> tuple[str, ...]:
    ceiling = job.survey.ceiling(speaker.room_key, speaker.ceiling_key)
    cautions = []
    if ceiling.is_plenum:
        mark = f"unit marked {entry.plenum_mark}" if entry.plenum_mark else "unit carries no mark"
        cautions.append(f"Void moves room air: plenum-rated cable and parts only; {mark}.")
    if ceiling.fire_rated:
        cautions.append("Fire-rated ceiling: no hole without a listed way to keep the rating.")
    if entry.cutout_diameter_m is not None:
        cautions.append("Pilot hole first; look for pipes, wires and sprinklers above.")
    return tuple(cautions)


def type_marks(job: Job) -> dict[str, str]:
    """Return the letter of every type in use, for plan, schedule and cut list.

    Parameters
    ----------
    job
        The job.
    """
    used = sorted({speaker.type_id for speaker in job.design.speakers})
    return {
        type_id: ascii_uppercase[number % 26] + (str(number // 26 + 1) if number >= 26 else "")
        for number, type_id in enumerate(used)
    }


def type_views(job: Job) -> tuple[TypeView, ...]:
    """Return every type in use with its count, for legend, cut list and template.

    Parameters
    ----------
    job
        The job.
    """
    marks = type_marks(job)
    return tuple(replace(_type_view(job, type_id), mark=mark) for type_id, mark in marks.items())


def _type_view(job: Job, type_id: str) -> TypeView:
    entry = job.catalogue.speaker(type_id)
    here = [speaker for speaker in job.design.speakers if speaker.type_id == type_id]
    tile_x, tile_y = _tile_size(job, here)
    taps = entry.taps_at(job.survey.site.line_voltage_v)
    return TypeView(
        id=entry.id,
        name=entry.name,
        kind=entry.kind,
        count=len(here),
        cutout_m=entry.cutout_diameter_m,
        flange_m=entry.flange_diameter_m,
        depth_m=entry.depth_m,
        mass_kg=entry.mass_kg,
        tile_x_m=tile_x,
        tile_y_m=tile_y,
        taps_text=", ".join(tap_text(tap.power_w) for tap in taps)
        + f" ({entry.tap_watt} at {job.survey.site.line_voltage_v:.3g} V)",
        support_text=", ".join(
            sorted(
                {
                    support_kind(entry, job.survey.ceiling(item.room_key, item.ceiling_key))
                    for item in here
                }
            )
        ),
        terminals=entry.terminals,
        marks_text=", ".join(filter(None, (entry.plenum_mark, entry.fire_mark))),
        directivity_text={
            "polar": "polar table per octave band",
            "piston": "rigid piston in a baffle",
            "cosine": "cosine fitted to its coverage angle",
        }[entry.directivity.model],
        source=entry.source,
    )


def _tile_size(job: Job, speakers: Sequence[Speaker]) -> tuple[float | None, float | None]:
    """Return the visible tile if all of them sit in one size, else nothing."""
    sizes = set()
    for speaker in speakers:
        grid = job.survey.ceiling(speaker.room_key, speaker.ceiling_key).grid
        sizes.add(
            (grid.pitch_x_m - grid.tee_width_m, grid.pitch_y_m - grid.tee_width_m)
            if grid and speaker.tile
            else (None, None)
        )
    return next(iter(sizes)) if len(sizes) == 1 else (None, None)
