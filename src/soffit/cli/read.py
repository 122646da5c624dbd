"""``soffit read``: a plan file or a list of rooms to a job, with what was found and assumed."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from soffit.cli.show import json_option, show_json, table_text

if TYPE_CHECKING:
    from soffit.model.survey import Region
    from soffit.plans.proposal import CeilingKind, RoomProposal
    from soffit.work.read_plan import ReadReport

_SHOWN = 200
_MEANINGS = ("wall", "door", "room", "text", "obstacle", "grid", "skip")


def _pairs(
    _context: click.Context, _parameter: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    found = []
    for value in values:
        meaning, mark, name = value.partition("=")
        if not mark or not name or meaning not in set(_MEANINGS):
            msg = f"{value!r} is not MEANING=NAME with {', '.join(_MEANINGS)}"
            raise click.BadParameter(msg)
        found.append((meaning, name))
    return tuple(found)


def _corners(
    _context: click.Context, _parameter: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[float, float, float, float], ...]:
    found = []
    for value in values:
        try:
            here, there = value.split("=")
            x, y = (float(part) for part in here.split(","))
            to_x, to_y = (float(part) for part in there.split(","))
        except ValueError:
            msg = (
                f"{value!r} is not X,Y=X,Y: a place in the file and its place on the plan in metres"
            )
            raise click.BadParameter(msg) from None
        found.append((x, y, to_x, to_y))
    return tuple(found)


def _folder(into: str | None, folder: str | None) -> str | None:
    if into and folder and Path(into) != Path(folder):
        msg = f"two folders are named: {into} and {folder}"
        raise click.UsageError(msg)
    return into or folder


@click.command(
    "read",
    epilog="Example:  soffit read building.ifc --with services.ifc --into offices --rooms 101,102",
)
@click.argument("file", type=click.Path())
@click.argument("into", required=False, type=click.Path(file_okay=False), metavar="[FOLDER]")
@click.option(
    "--with",
    "others",
    multiple=True,
    type=click.Path(),
    help="A further model of the same building, such as its services (again for more).",
)
@click.option(
    "--into",
    "folder",
    type=click.Path(file_okay=False),
    help="Folder of the job to make, or to compare with and bring up to date.",
)
@click.option("--rooms", default="", help="Only these rooms: keys or names, commas between.")
@click.option("--accept", is_flag=True, help="Keep doubtful rooms too; take over differences.")
@click.option("--volts", type=float, help="Line voltage; 70.7 where the region is US, else 100.")
@click.option(
    "--region",
    type=click.Choice(["US", "EU", "UK", "other"]),
    default="other",
    show_default=True,
    help="Whose codes and habits apply.",
)
@click.option("--units", type=click.Choice(["imperial", "metric"]), help="What papers show.")
@click.option("--name", default="", help="Name of the job; the file's by default.")
@click.option("--height", help="Ceiling height where the file has none, such as 2.7 m or 9 ft.")
@click.option(
    "--ceiling",
    type=click.Choice(["grid", "plasterboard", "open"]),
    help="Kind of ceiling where the file does not tell.",
)
@click.option("--storey", default="", help="Drawings: name of the storey, such as First floor.")
@click.option("--elevation", help="Drawings: level of the storey's floor, such as 3.5 m.")
@click.option("--scale", type=float, help="PDF: denominator of the scale, 100 for 1:100.")
@click.option("--unit", help="Drawings: length of one drawing unit, such as 1 mm or 1 in.")
@click.option(
    "--layer",
    "layers",
    multiple=True,
    callback=_pairs,
    metavar="MEANING=NAME",
    help="Drawings: wall=, door=, room=, text=, obstacle=, grid= or skip= a layer.",
)
@click.option(
    "--page", type=click.IntRange(min=1), default=1, show_default=True, help="PDF: which page."
)
@click.option(
    "--corner",
    "corners",
    multiple=True,
    callback=_corners,
    metavar="X,Y=X,Y",
    help="A place in the file and on the plan in metres: two calibrate, four rectify.",
)
@click.option("--drawing", type=click.Path(dir_okay=False), help="Write the drawing (SVG) here.")
@click.option("--who", default="", help="Your name for the history.")
@json_option
def command(  # noqa: PLR0913 one argument an option, as the face shows them
    *,
    file: str,
    others: tuple[str, ...],
    into: str | None,
    folder: str | None,
    rooms: str,
    accept: bool,
    volts: float | None,
    region: "Region",
    units: str | None,
    name: str,
    height: str | None,
    ceiling: "CeilingKind | None",
    storey: str,
    elevation: str | None,
    scale: float | None,
    unit: str | None,
    layers: tuple[tuple[str, str], ...],
    page: int,
    corners: tuple[tuple[float, float, float, float], ...],
    drawing: str | None,
    who: str,
    as_json: bool,
) -> int:
    """Read rooms from FILE: IFC, DXF, PDF, a photograph, or a list as CSV or XLSX.

    Shows what was found, what was assumed and how sure it is. Nothing is kept unless FOLDER (or
    --into) names a job; a job that was read before gets a list of differences first.
    """
    from soffit.plans.proposal import ReadWishes
    from soffit.plans.to_job import SiteWishes
    from soffit.units import parse
    from soffit.work.read_plan import read_into, read_plan, write_drawing

    wishes = ReadWishes(
        unit_m=parse(unit, "length") if unit else None,
        scale=scale,
        layers=layers,
        height_m=parse(height, "length") if height else None,
        ceiling_kind=ceiling,
        storey=storey,
        elevation_m=parse(elevation, "length") if elevation else None,
        page=page,
        corners=corners,
    )
    wanted = tuple(part for part in rooms.split(",") if part.strip())
    more = tuple(Path(other) for other in others)
    folder = _folder(into, folder)
    if not as_json and sys.stderr.isatty():
        click.echo(f"reading {file} ...", err=True)
    if folder is None:
        report = read_plan(Path(file), others=more, rooms=wanted, accept=accept, wishes=wishes)
    else:
        site = SiteWishes(name=name, region=region, line_voltage_v=volts, units=units)
        report = read_into(
            Path(file),
            Path(folder),
            site=site,
            others=more,
            rooms=wanted,
            accept=accept,
            wishes=wishes,
            who=who,
        )
    if drawing:
        write_drawing(report, Path(drawing))
    if as_json:
        show_json(report.as_dict())
    else:
        click.echo(_text(report, drawing))
    return 0


def _text(report: "ReadReport", drawing: str | None) -> str:
    proposal = report.proposal
    parts = [f"{proposal.source}: {len(proposal.rooms)} rooms", ""]
    why = {room.key: text for room, text in report.left}
    rows = [_row(room, report, kept=room.key not in why) for room in proposal.rooms[:_SHOWN]]
    header = ["key", "name", "storey", _area_unit(report), _length_unit(report), "height",
              "ceiling", "things", "sure", "kept"]  # fmt: skip
    if rows:
        parts.append(table_text(header, rows))
    if len(proposal.rooms) > _SHOWN:
        parts.append(f"... and {len(proposal.rooms) - _SHOWN} more; --json lists all")
    parts += _said(report)
    parts += ["", *(f"note: {text}" for text in proposal.notes)] if proposal.notes else []
    parts += [f"left out: {item.what}: {item.why}" for item in proposal.set_aside[:20]]
    if proposal.speakers:
        labels = ", ".join(item.label for item in proposal.speakers[:8])
        parts.append(f"{len(proposal.speakers)} loudspeakers are drawn: {labels}")
    parts += _differences(report)
    return "\n".join([*parts, "", *_end(report, drawing)])


def _area_unit(report: "ReadReport") -> str:
    return "sq ft" if report.proposal.is_imperial else "m2"


def _length_unit(report: "ReadReport") -> str:
    return "ft" if report.proposal.is_imperial else "m"


def _row(room: "RoomProposal", report: "ReadReport", *, kept: bool) -> list[str]:
    from soffit.units import FOOT_M

    foot = FOOT_M if report.proposal.is_imperial else 1.0
    lows = sorted({ceiling.height_m for ceiling in room.ceilings})
    heights = " / ".join(f"{height / foot:.2f}" for height in lows[:3])
    kinds = sorted({item.kind + ("" if item.kind_text else "?") for item in room.ceilings})
    count = sum(item.room_key == room.key for item in report.proposal.obstacles)
    return [
        room.key,
        room.label[:32],
        room.storey_key,
        f"{room.area_m2 / foot**2:.2f}",
        heights,
        room.height_source,
        ", ".join(kinds),
        str(count),
        f"{room.confidence:.2f}",
        "yes" if kept else "no",
    ]


def _said(report: "ReadReport") -> list[str]:
    """Return doubts and assumptions, those that many rooms share only once."""
    rooms = report.proposal.rooms
    shared: dict[tuple[str, str], list[str]] = {}
    for room in rooms:
        for word, texts in (("doubt", room.doubts), ("assumed", room.assumed)):
            for text in texts:
                shared.setdefault((word, text), []).append(room.key)
    lines = []
    for (word, text), keys in sorted(shared.items(), key=lambda item: item[0][0] != "doubt"):
        names = ", ".join(keys[:4]) + (f" and {len(keys) - 4} more" if len(keys) > 4 else "")
        lines.append(f"{word}: {names}: {text}")
    why = {text for _, text in report.left}
    if why - {"not asked for"}:
        lines += [f"not kept: {room.key}: {text}" for room, text in report.left[:20]]
    return ["", *lines] if lines else []


def _differences(report: "ReadReport") -> list[str]:
    if not report.differences:
        return []
    return ["", "what the plan says differently now:", *(
        f"  {item.text()}" for item in report.differences
    )]  # fmt: skip


def _end(report: "ReadReport", drawing: str | None) -> list[str]:
    lines = [f"drawing: {drawing}"] if drawing else []
    if report.folder is None:
        if not drawing:
            lines.append("see it drawn: add --drawing FILE.svg")
        return [*lines, "nothing was kept; make a job of it: add --into FOLDER"]
    if report.is_changed:
        lines.append(f"kept in {report.folder}; drawing in its folder plans")
        return [*lines, f"next: look through {report.folder}/job.toml, then soffit design "
                f"{report.folder}"]  # fmt: skip
    if report.proposal.underlays and not report.proposal.rooms:
        return [*lines, f"the picture lies in {report.folder}/plans, to draw rooms on"]
    if report.differences:
        return [*lines, "the job was left as it is; take these over: add --accept"]
    return [*lines, "the plan says what it said before; the job was left as it is"]
