"""``soffit design``: place, tap, wire and size; say why."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soffit.cli.show import folder_argument, json_option, progress, show_json, table_text
from soffit.units import FOOT_M

if TYPE_CHECKING:
    from soffit.model.decisions import Option
    from soffit.work.summary import DesignReport, RoomSummary


@click.command("design", epilog="Example:  soffit design library --room cafe")
@folder_argument
@click.option("--room", "rooms", multiple=True, help="Only this room (may be given again).")
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the searches."
)
@click.option(
    "--workers", type=click.IntRange(0, 64), default=0, help="Processes; 0 chooses by the work."
)
@click.option(
    "--seconds", type=click.FloatRange(0.1), help="Time for all searches; rooms not done stay."
)
@click.option("--free", is_flag=True, help="Try layouts without a pattern too (odd rooms).")
@click.option(
    "--all-offsets", is_flag=True, help="Try every offset of a pattern, not only middles."
)
@click.option("--prove", is_flag=True, help="Prove that fewer speakers cannot do, or bound them.")
@click.option(
    "--proof-seconds",
    type=click.FloatRange(1.0),
    default=60.0,
    show_default=True,
    help="Time for the proof of each room.",
)
@click.option("--who", default="", help="Your name for the history.")
@click.option("--dry", is_flag=True, help="Show the design without keeping it.")
@json_option
def command(folder: str, rooms: tuple[str, ...], as_json: bool, **options: Any) -> int:  # noqa: ANN401 options as click passes them
    """Place, tap, wire and size the job in FOLDER; keep what was fixed by hand."""
    from soffit.work.layout_question import Search
    from soffit.work.make_design import make_design
    from soffit.work.many_rooms import Effort

    report = make_design(
        Path(folder),
        rooms=rooms,
        seed=options["seed"],
        who=options["who"],
        is_kept=not options["dry"],
        effort=Effort(workers=options["workers"], seconds=options["seconds"]),
        search=Search.of(
            free=options["free"],
            all_offsets=options["all_offsets"],
            prove=options["prove"],
            proof_seconds=options["proof_seconds"],
        ),
        progress=progress(quiet=as_json),
    )
    if as_json:
        show_json(report.as_dict())
    else:
        click.echo(_text(report, folder))
    return 1 if any(item.severity == "stop" for item in report.findings) else 0


def _text(report: "DesignReport", folder: str) -> str:
    job = report.whole.job
    is_imperial = job.survey.site.is_imperial
    unit_m = FOOT_M if is_imperial else 1.0
    parts = [f"{job.survey.site.name}, revision {job.design.revision}", ""]
    parts += [_room_text(room) for room in report.rooms]
    rows = [
        [
            line.label,
            line.zones,
            str(line.count),
            f"{line.load_w:.0f}",
            f"{line.drawn_w:.0f}",
            f"{line.impedance_ohm:.1f}",
            f"{line.worst_loss_db:.2f}",
            line.worst_label,
            f"{line.length_m / unit_m:.0f}",
            line.cable,
            f"{line.channel} of {line.rated_w:.0f} W",
        ]
        for line in report.lines
    ]
    header = [
        "line", "zone", "units", "taps W", "drawn W", "ohm by taps", "loss dB", "at",
        "cable ft" if is_imperial else "cable m", "cable", "channel",
    ]  # fmt: skip
    parts.append(table_text(header, rows))
    notes = [f"{line.label}: {line.route_note}" for line in report.lines if line.route_note]
    parts += ["", *notes]
    parts += [f"wiring: {text}" for text in job.design.wiring_notes]
    parts += [f"not kept: {text}" for text in job.design.wiring_not_kept]
    parts += ["", *(item.text() for item in report.findings)] if report.findings else []
    kept = "kept in design.json" if report.is_changed else "as before"
    parts += ["", f"{kept}; next: soffit check {folder}  and  soffit papers {folder}"]
    return "\n".join(parts)


def _room_text(room: "RoomSummary") -> str:
    lines = [f"{room.label}: {room.units_text or 'no speakers'}"]
    if room.pattern:
        lines.append(f"  {room.pattern}; {room.taps_w:.0f} W of taps")
    lines += [
        f"  {row.verdict:<6}  {row.what}: {row.got}"
        + (f" (asked {row.asked})" if row.asked else "")
        for row in room.brief
    ]
    if room.reason:
        lines.append(f"  why: {room.reason}")
    if room.bound:
        lines.append(f"  proof: {room.bound}")
    lines += [f"  {option.mark}: {_option_text(option)}" for option in room.others]
    lines += [f"  not kept: {text}" for text in room.not_kept]
    return "\n".join([*lines, ""])


def _option_text(option: "Option") -> str:
    meets = "meets the brief" if option.meets_brief else "does not meet the brief"
    total = option.whole_spread_db
    whole = "" if total is None else f", whole field ±{total / 2:.1f} dB"
    units = " + ".join(f"{number} x {type_id}" for number, type_id in option.counts())
    return (
        f"{units}, {option.pattern}, ±{option.spread_db / 2:.1f} dB"
        f"{whole}, {option.watts_w:.0f} W ({meets})"
    )
