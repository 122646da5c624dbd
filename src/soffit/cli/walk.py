"""``soffit walk``: an old line that nobody documented, from what a walk and a meter found."""

from pathlib import Path

import click

from soffit.cli.show import json_option, show_json


@click.command(
    "walk", epilog='Example:  soffit walk walk.csv --volts 70.7 --measured "125 ohm" --amp "60 W"'
)
@click.argument("table", type=click.Path(dir_okay=False))
@click.option("--volts", default="100", show_default=True, help="Line voltage: 25, 70.7, 100.")
@click.option("--measured", help="Impedance at 1 kHz at the rack, both legs off, such as 125 ohm.")
@click.option("--amp", help="Rating of the channel that feeds it, such as 60 W.")
@click.option("--job", type=click.Path(file_okay=False), help="A job whose catalogue names types.")
@click.option("--into", type=click.Path(file_okay=False), help="Make a job of it in this folder.")
@json_option
def command(
    table: str,
    volts: str,
    measured: str | None,
    amp: str | None,
    job: str | None,
    into: str | None,
    as_json: bool,
) -> int:
    """Judge an old line from TABLE (unit,type,tap,count,place,state,note,x,y; ? if unknown).

    With --into it becomes a job: existing loudspeakers where x and y say, else drawn in a row, on
    a line as found.
    """
    from soffit.work.as_found import catalogue_for, judge_walk

    state = judge_walk(
        Path(table), volts=volts, measured=measured, amp=amp, job=Path(job) if job else None
    )
    kept = None
    if into:
        from soffit.work.found_job import keep_found

        own = Path(job) if job else None
        kept = keep_found(state, catalogue_for(own), Path(into), types_of=own)
    if as_json:
        show_json(state.as_dict() | ({"job": kept.as_dict()} if kept else {}))
    else:
        click.echo(state.text() + (f"\n\n{kept.text()}" if kept else ""))
    return 1 if any(item.severity == "stop" for item in state.findings) else 0
