"""Lines, alternatives and papers as the page lists and draws them."""

from typing import Any

from soffit.errors import JobError, TableError
from soffit.papers import symbols
from soffit.papers.packs import PACKS
from soffit.papers.projection import fill_plan
from soffit.papers.scene import FAINT, HAIR, INK, Path, Pen, Scene
from soffit.papers.schematic import schematic_sheets
from soffit.papers.svg import write_svg
from soffit.papers.views import LineView
from soffit.work.page_edit import option_of
from soffit.work.page_state import PageJob, Snapshot

_OPTION_MM = 120.0


def lines_dict(now: Snapshot) -> dict[str, Any]:
    """Return lines place by place and amplifiers channel by channel, as plain data.

    Parameters
    ----------
    now
        The job; it has a design.
    """
    view = now.view
    fixed = {item.key: item.fixed_order for item in now.job.design.speakers}
    return {
        "revision": now.job.design.revision,
        "lines": [_line_dict(line, fixed) for line in view.lines],
        "racks": [
            {
                "label": rack.label,
                "amplifiers": [
                    {
                        "label": amplifier.label,
                        "type": amplifier.type_name,
                        "channels": [
                            {
                                "number": channel.number,
                                "lines": channel.lines_text,
                                "load_w": round(channel.load_w, 1),
                                "drawn_w": round(channel.drawn_w, 1),
                                "rated_w": channel.rated_w,
                                "load_ratio": round(channel.load_ratio, 3),
                                "ohm": channel.meter_ohm or channel.impedance_ohm,
                                "high_pass_hz": channel.high_pass_hz,
                            }
                            for channel in amplifier.channels
                        ],
                    }
                    for amplifier in rack.amplifiers
                ],
            }
            for rack in view.racks
        ],
    }


def _line_dict(line: LineView, fixed: dict[str, bool]) -> dict[str, Any]:
    return {
        "key": line.key,
        "label": line.label,
        "title": line.title,
        "voltage_v": round(line.voltage_v, 1),
        "load_w": round(line.load_w, 1),
        "drawn_w": round(line.drawn_w, 1),
        "ohm": round(line.meter.middle_ohm if line.meter else line.impedance_ohm, 1),
        "ohm_low": line.meter.low_ohm if line.meter else None,
        "ohm_high": line.meter.high_ohm if line.meter else None,
        "worst_loss_db": round(line.worst_loss_db, 3),
        "worst_label": line.worst_label,
        "limit": line.loss_limit_text,
        "length_m": round(line.length_m, 1),
        "cable": line.cable_text,
        "channel": line.channel_text,
        "topology": line.topology,
        "route_note": line.route_note,
        "notes": list(line.notes),
        "nodes": [
            {
                "key": node.key,
                "label": node.label,
                "kind": node.kind,
                "run_m": round(node.run_length_m, 2),
                "cable": node.cable,
                "volts": round(node.voltage_v, 2),
                "loss_db": round(node.loss_db, 3),
                "out_ohm": node.meter_out.middle_ohm if node.meter_out else node.impedance_out_ohm,
                "is_fixed": fixed.get(node.key, False),
            }
            for node in line.nodes
        ],
    }


def line_drawing(now: Snapshot, label: str, *, sheet: int = 0) -> str:
    """Return one sheet of the schematic of a line as SVG.

    Parameters
    ----------
    now
        The job; it has a design.
    label
        Label or key of the line.
    sheet
        Which of its sheets.

    Raises
    ------
    TableError
        If there is no such line.
    """
    sheets = line_drawings(now, label)
    return sheets[min(sheet, len(sheets) - 1)]


def line_drawings(now: Snapshot, label: str) -> list[str]:
    """Return the schematic of a line as SVG, sheet by sheet.

    Parameters
    ----------
    now
        The job; it has a design.
    label
        Label or key of the line.

    Raises
    ------
    TableError
        If there is no such line.
    """
    view = now.view
    for number, line in enumerate(view.lines, 1):
        if label in {line.key, line.label}:
            sheets = schematic_sheets(
                line, view.on_line(line.key), view.title, number=f"S-{number:02d}"
            )
            return [write_svg(scene) for scene in sheets]
    msg = f"there is no line {label!r}"
    raise TableError(msg, where="lines", why="no line has that label", do="see the list of lines")


def more_dict(
    now: Snapshot, line: str, *, count: int, tap: str = "", spacing: str = ""
) -> dict[str, Any]:
    """Tell what more loudspeakers at the end of a line would do.

    Parameters
    ----------
    now
        The job; it has a design.
    line
        Label of the line.
    count
        How many.
    tap, spacing
        Of each; as the last one hangs if empty.
    """
    from soffit.work.add_to_line import AddQuestion, answer_for

    question = AddQuestion(line=line, count=count, tap=tap, spacing=spacing)
    answer = answer_for(now.job, question)
    return {**answer.as_dict(), "text": answer.text()}


def option_drawing(now: Snapshot, room_key: str, number: int) -> str:
    """Draw an alternative small: walls and loudspeakers.

    Parameters
    ----------
    now
        The job.
    room_key
        The room.
    number
        Place of the alternative in the front.
    """
    room = now.job.survey.room(room_key)
    option = option_of(now.job, room_key, number)
    if not option.positions:
        raise JobError(
            what="this alternative was not laid out",
            where=f"room {room_key}, alternative {number}",
            why="only its count and spread were worked out",
            do="choose another one",
        )
    xs, ys = [x for x, _ in room.outline], [y for _, y in room.outline]
    wide, tall = max(xs) - min(xs), max(ys) - min(ys)
    height = _OPTION_MM * min(max(tall / wide, 0.3), 1.6)
    scene = Scene(_OPTION_MM, height, title=f"{option.count} loudspeakers, {option.pattern}")
    projection = fill_plan(room.outline, (3.0, 3.0, _OPTION_MM - 3.0, height - 3.0))
    for obstacle in now.job.survey.obstacles_in(room_key):
        ring = projection.ring(obstacle.outline)
        scene.add(Path(rings=(ring,), layer="obstacles", pen=HAIR, closed=True))
    for hole in room.holes:
        ring = projection.ring(hole)
        scene.add(Path(rings=(ring,), layer="walls", pen=Pen(0.3, INK), fill=FAINT, closed=True))
    outline = projection.ring(room.outline)
    scene.add(Path(rings=(outline,), layer="walls", pen=Pen(0.6, INK), closed=True))
    kind = now.job.catalogue.speaker(option.type_id).kind
    for position in option.positions:
        symbols.speaker(scene, projection(position), 2.4, kind)
    return write_svg(scene)


def papers_dict(page: PageJob) -> dict[str, Any]:
    """Return what can be printed and what has been, as plain data.

    Parameters
    ----------
    page
        The job.
    """
    from soffit.work.make_papers import EXTRAS

    root = page.folder / "papers"
    design = page.folder / "design.json"
    changed = design.stat().st_mtime if design.is_file() else 0.0
    files = []
    for path in sorted(root.rglob("*")) if root.is_dir() else ():
        if path.is_file() and not path.name.startswith("."):
            state = path.stat()
            files.append(
                {
                    "name": path.relative_to(root).as_posix(),
                    "kilobytes": round(state.st_size / 1e3, 1),
                    "is_old": state.st_mtime < changed,
                }
            )
    return {
        "packs": [{"name": name, "title": title} for name, title in PACKS.items()],
        "extras": [{"name": name, "title": title} for name, title in EXTRAS.items()],
        "files": files,
    }


def front_drawing(now: Snapshot, room_key: str) -> str:
    """Draw the alternatives of a room as a small chart: count against spread.

    Parameters
    ----------
    now
        The job.
    room_key
        The room.
    """
    from soffit.papers.option_chart import option_chart

    for entry in now.job.design.rooms:
        if entry.room_key == room_key and entry.options:
            label = now.job.survey.room(room_key).label
            return write_svg(option_chart(entry.options, title=f"{label}: alternatives"))
    return ""
