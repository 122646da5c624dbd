"""``soffit prove``: enter readings and get a verdict on each."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from soffit.cli.show import (
    folder_argument,
    json_option,
    refuse_unread,
    show_json,
    table_text,
)

if TYPE_CHECKING:
    from soffit.measure.expected import Expected
    from soffit.model.readings import Reading
    from soffit.work.merge_field import Merged
    from soffit.work.prove import ProveReport


@click.command(
    "prove",
    epilog="Example:  soffit prove library --add 'L1 whole 371' --add 'L1-03 silent' --who me",
)
@folder_argument
@click.option("--add", "entries", multiple=True, metavar="READING", help="A reading (repeat).")
@click.option("--csv", "table", type=click.Path(dir_okay=False), help="A table of readings.")
@click.option("--json-file", type=click.Path(dir_okay=False), help="Readings as JSON, one a line.")
@click.option(
    "--merge",
    type=click.Path(dir_okay=False),
    help="What a field page saved: readings, ticks, changes; twice does no harm.",
)
@click.option("--strike", metavar="KEY", help="Strike a reading out; it stays in the file.")
@click.option("--log", "is_log", is_flag=True, help="They are the hand-over log of the sound line.")
@click.option("--sure", is_flag=True, help="Keep readings that soffit asks about.")
@click.option("--expect", is_flag=True, help="List what every instrument should show.")
@click.option("--tone", "tones", multiple=True, help="With --expect: tones; 1 kHz by default.")
@click.option("--drive", default="", help="What is on the line, such as '7.07 V'.")
@click.option("--instrument", default="", help="What it was read with.")
@click.option("--who", default="", help="Who read it.")
@json_option
def command(  # noqa: PLR0913, PLR0917 one argument an option
    folder: str,
    entries: tuple[str, ...],
    table: str | None,
    json_file: str | None,
    merge: str | None,
    strike: str | None,
    is_log: bool,
    sure: bool,
    expect: bool,
    tones: tuple[str, ...],
    drive: str,
    instrument: str,
    who: str,
    as_json: bool,
) -> int:
    """Enter readings of the job in FOLDER, and judge all that count.

    A reading is a place and a value, such as 'L1-14 out 1 kHz 240 ohm', 'L1 whole 98',
    'L1-07 alone OL', 'L1-07 silent' or 'hall-2 58 dBA'. Ways are out (away from the amplifier),
    in (back to it) and alone. Odd ones are asked about and not kept until --sure.
    """
    _refuse_unread(expect=expect, merge=merge, strike=strike)
    if expect:
        return _expected(Path(folder), tones, as_json=as_json)
    if merge:
        return _merged(Path(folder), Path(merge), is_sure=sure, who=who, as_json=as_json)
    from soffit.work import prove

    if strike:
        report = prove.strike_reading(Path(folder), strike, who=who)
    else:
        now = prove.now_text()
        said = {"who": who, "instrument": instrument, "drive": drive}
        readings: list[Reading] = prove.readings_from_texts(entries, now=now, **said)
        if table:
            text = prove.text_of(Path(table))
            readings += prove.readings_from_csv(text, name=Path(table).name, now=now, **said)
        if json_file:
            text = prove.text_of(Path(json_file))
            readings += prove.readings_from_json(text, name=Path(json_file).name, **said)
        if readings:
            report = prove.add_readings(Path(folder), readings, is_sure=sure, is_log=is_log)
        else:
            report = prove.report_of(Path(folder))
    _show(report, as_json=as_json)
    if report.doubts:
        return 2
    return 1 if report.has_fail else 0


def _refuse_unread(*, expect: bool, merge: str | None, strike: str | None) -> None:
    if expect:
        refuse_unread(("folder", "expect", "tones"), "with --expect")
    elif merge:
        refuse_unread(("folder", "merge", "sure", "who"), "with --merge")
    elif strike:
        refuse_unread(("folder", "strike", "who"), "with --strike")
    else:
        read = [
            "folder",
            "entries",
            "table",
            "json_file",
            "is_log",
            "sure",
            "drive",
            "instrument",
            "who",
        ]
        refuse_unread(read, "without --expect")


def _show(shown: "ProveReport | Merged", *, as_json: bool) -> None:
    if as_json:
        show_json(shown.as_dict())
    else:
        click.echo(shown.text())


def _expected(folder: Path, tones: tuple[str, ...], *, as_json: bool) -> int:
    from soffit.work.prove import expected_sheet
    from soffit.work.trace_book import tones_of

    rows = expected_sheet(folder, tones_hz=tones_of(tones))
    if as_json:
        show_json({"expected": [row.as_dict() for row in rows]})
    else:
        click.echo(_sheet(rows))
    return 0


def _merged(folder: Path, path: Path, *, is_sure: bool, who: str, as_json: bool) -> int:
    from soffit.work.merge_field import merge_field

    merged = merge_field(folder, path, is_sure=is_sure, who=who)
    _show(merged, as_json=as_json)
    if merged.report.doubts:
        return 2
    return 1 if merged.report.has_fail else 0


def _sheet(rows: "list[Expected]") -> str:
    from soffit.measure.entry import figure_text

    cells = [
        [
            row.place,
            row.quantity,
            row.direction,
            "" if row.frequency_hz is None else f"{row.frequency_hz:g}",
            row.text or ("" if row.middle is None else figure_text(row.middle)),
            "" if row.low is None or row.text else figure_text(row.low),
            "" if row.high is None or row.text else figure_text(row.high),
            row.unit,
            row.drive,
        ]
        for row in rows
    ]
    header = ["place", "read", "way", "Hz", "expect", "from", "to", "unit", "on the line"]
    return table_text(header, cells)
