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
@json_option
def command(
    table: str,
    volts: str,
    measured: str | None,
    amp: str | None,
    job: str | None,
    as_json: bool,
) -> int:
    """Judge an old line from TABLE (unit,type,tap,count,place,state,note; ? if unknown)."""
    from soffit.work.as_found import judge_walk

    state = judge_walk(
        Path(table), volts=volts, measured=measured, amp=amp, job=Path(job) if job else None
    )
    if as_json:
        show_json(state.as_dict())
    else:
        click.echo(state.text())
    return 1 if any(item.severity == "stop" for item in state.findings) else 0
