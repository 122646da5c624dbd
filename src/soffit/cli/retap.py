"""``soffit retap``: even out measured levels by changing taps."""

from pathlib import Path

import click

from soffit.cli.show import folder_argument, json_option, show_json


@click.command("retap", epilog="Example:  soffit retap library --room hall")
@folder_argument
@click.option("--room", required=True, help="Key or label of the room.")
@click.option("--keep", is_flag=True, help="Write the new taps into the design.")
@click.option("--who", default="", help="Your name for the history.")
@json_option
def command(folder: str, room: str, keep: bool, who: str, as_json: bool) -> int:
    """Choose new taps from levels read at the test points of a room in FOLDER.

    The levels come from soffit prove. The report shows the evenness before and after, and checks
    the amplifier and the line again; nothing is written without --keep.
    """
    from soffit.work.retap import retap

    report = retap(Path(folder), room, is_kept=keep, who=who)
    if as_json:
        show_json(report.as_dict())
    else:
        click.echo(report.text())
    return 0
