"""``soffit new``: begin a job."""

from pathlib import Path

import click

from soffit.cli.show import json_option, show_json


@click.command("new", epilog="Example:  soffit new chapel  (then edit chapel/job.toml)")
@click.argument("folder", type=click.Path(file_okay=False))
@click.option("--force", is_flag=True, help="Replace the job in FOLDER; its history stays.")
@json_option
def command(folder: str, force: bool, as_json: bool) -> int:
    """Begin a job in FOLDER: a survey of one room, to be changed into yours."""
    from soffit.work.demo import begin_job

    made = begin_job(Path(folder), force=force)
    if as_json:
        show_json({"folder": str(made), "file": str(made / "job.toml")})
    else:
        click.echo(f"{made / 'job.toml'}: a survey with one room; change it into yours")
        click.echo(f"next: soffit design {made}")
    return 0
