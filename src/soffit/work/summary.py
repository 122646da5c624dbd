"""A design in the words of its summary: rooms against their briefs, lines with ohms and watts."""

from dataclasses import dataclass
from typing import Any

from soffit.model.decisions import Option, RoomDecision
from soffit.model.findings import Finding
from soffit.papers.views import BriefRow
from soffit.work.view_lines import cable_text, channel_of
from soffit.work.view_rooms import brief_rows
from soffit.work.whole import Whole


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomSummary:
    """One room of a design.

    Parameters
    ----------
    units_text
        How many of each type.
    pattern, reason
        The layout in words, and why it was chosen.
    taps_w
        Sum of taps. [W]
    brief
        Demands against results.
    others
        Two cheaper options and a finer one, where there are.
    """

    key: str
    label: str
    count: int
    type_name: str
    units_text: str
    pattern: str
    reason: str
    taps_w: float
    brief: tuple[BriefRow, ...]
    others: tuple[Option, ...]
    bound: str
    not_kept: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSummary:
    """One line of a design.

    Parameters
    ----------
    load_w, drawn_w, rated_w
        Sum of taps; what leaves the amplifier; rating of its channel. [W]
    impedance_ohm, worst_loss_db, length_m
        At 1 kHz; loss; cable. [Ω, dB, m]
    """

    label: str
    zones: str
    count: int
    load_w: float
    drawn_w: float
    impedance_ohm: float
    worst_loss_db: float
    worst_label: str
    length_m: float
    cable: str
    channel: str
    rated_w: float
    route_note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignReport:
    """What ``soffit design`` shows.

    Parameters
    ----------
    whole
        The job with its new design, and its states.
    findings
        Findings that the design itself raised.
    """

    whole: Whole
    rooms: tuple[RoomSummary, ...]
    lines: tuple[LineSummary, ...]
    findings: tuple[Finding, ...]
    is_changed: bool

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        design = self.whole.job.design
        return {
            "revision": design.revision,
            "is_changed": self.is_changed,
            "speakers": len(design.speakers),
            "rooms": [_room_dict(room) for room in self.rooms],
            "lines": [
                {name: getattr(line, name) for name in LineSummary.__slots__} for line in self.lines
            ],
            "wiring": list(design.wiring_notes),
            "not_kept": list(design.wiring_not_kept),
            "findings": [finding_dict(item) for item in self.findings],
        }


def option_dict(option: Option) -> dict[str, Any]:
    """Return an option of the front as plain data, without its layout.

    Parameters
    ----------
    option
        The option.
    """
    names = (
        "pattern", "count", "type_id", "tap_w", "watts_w", "spread_db", "whole_spread_db",
        "std_db", "worst_db", "look_penalty", "meets_brief", "mark",
    )  # fmt: skip
    return {name: getattr(option, name) for name in names}


def finding_dict(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain data.

    Parameters
    ----------
    finding
        The finding.
    """
    names = (
        "code", "severity", "place", "place_key", "what", "limit", "limit_source", "why", "do",
        "accepted_by", "is_caution", "room_key", "position",
    )  # fmt: skip
    body = {name: getattr(finding, name) for name in names}
    body["mends"] = [
        {"kind": mend.kind, "target": mend.target_key, "value": mend.value, "text": mend.text}
        for mend in finding.mends
    ]
    return body


def _room_dict(room: RoomSummary) -> dict[str, Any]:
    return {
        "key": room.key,
        "label": room.label,
        "count": room.count,
        "type": room.type_name,
        "pattern": room.pattern,
        "reason": room.reason,
        "taps_w": room.taps_w,
        "brief": [
            {"what": row.what, "asked": row.asked, "got": row.got, "verdict": row.verdict}
            for row in room.brief
        ],
        "others": [option_dict(option) for option in room.others],
        "bound": room.bound,
        "not_kept": list(room.not_kept),
    }


def _others(decision: RoomDecision | None) -> tuple[Option, ...]:
    if decision is None:
        return ()
    return tuple(item for item in decision.options if item.mark in {"cheaper", "finer"})


def _room_summaries(whole: Whole) -> tuple[RoomSummary, ...]:
    job = whole.job
    decisions = {entry.room_key: entry for entry in job.design.rooms}
    rows = []
    for room in job.survey.rooms:
        here = [speaker for speaker in job.design.speakers if speaker.room_key == room.key]
        decision = decisions.get(room.key)
        chosen = (
            next((item for item in decision.options if item.mark == "chosen"), None)
            if decision
            else None
        )
        names = [job.catalogue.speaker(speaker.type_id).name for speaker in here]
        types = sorted(set(names))
        rows.append(
            RoomSummary(
                key=room.key,
                label=room.label,
                count=len(here),
                type_name=" and ".join(types),
                units_text=" and ".join(f"{names.count(name)} x {name}" for name in types),
                pattern=chosen.pattern if chosen else "",
                reason=decision.reason if decision else "",
                taps_w=sum(speaker.tap.power_w for speaker in here),
                brief=brief_rows(room, whole.sound.room(room.key)),
                others=_others(decision),
                bound=decision.bound if decision else "",
                not_kept=decision.not_kept if decision else (),
            )
        )
    return tuple(rows)


def _line_summaries(whole: Whole) -> tuple[LineSummary, ...]:
    job = whole.job
    labels = {speaker.key: speaker.label for speaker in job.design.speakers}
    rows = []
    for line in job.design.lines:
        state = whole.lines.get(line.key)
        if state is None:
            continue
        found = channel_of(job, line.key)
        zones = [zone.label for zone in job.survey.zones if zone.key in line.zone_keys]
        used = sorted({run.cable_id for run in line.runs})
        rows.append(
            LineSummary(
                label=line.label,
                zones=", ".join(zones),
                count=len(line.speaker_keys),
                load_w=state.load_w,
                drawn_w=state.amplifier_w,
                impedance_ohm=state.impedance_ohm,
                worst_loss_db=state.worst_loss_db,
                worst_label=labels.get(state.worst_key, ""),
                length_m=state.length_m,
                cable=" and ".join(cable_text(job.catalogue.cable(key)) for key in used),
                channel=f"{found[0].label}/{found[1].number}" if found else "",
                rated_w=job.catalogue.amplifier(found[0].type_id).channel_power_w[
                    found[1].number - 1
                ]
                if found
                else 0.0,
                route_note=line.route_note,
            )
        )
    return tuple(rows)


def design_report(whole: Whole, findings: tuple[Finding, ...], *, is_changed: bool) -> DesignReport:
    """Return a design in the words of its summary.

    Parameters
    ----------
    whole
        The job with its design, and its states.
    findings
        Findings that the design itself raised.
    is_changed
        Whether the design differs from the one before.
    """
    return DesignReport(
        whole=whole,
        rooms=_room_summaries(whole),
        lines=_line_summaries(whole),
        findings=findings,
        is_changed=is_changed,
    )
