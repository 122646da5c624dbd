"""``soffit demo``: an invented job to play with."""

from pathlib import Path

import click

from soffit.cli.show import json_option, show_json


@click.command("demo", epilog="Example:  soffit demo library try-out")
@click.argument("name", default="library")
@click.argument("folder", required=False, type=click.Path(file_okay=False))
@click.option("--list", "listed", is_flag=True, help="List the demo jobs.")
@click.option("--force", is_flag=True, help="Replace the job in FOLDER; its history stays.")
@json_option
def command(name: str, folder: str | None, listed: bool, force: bool, as_json: bool) -> int:
    """Copy the invented demo job NAME (library by default) into FOLDER (NAME by default)."""
    from soffit.work.demo import demo_names, make_demo

    if listed:
        show_json({"demos": list(demo_names())}) if as_json else click.echo("\n".join(demo_names()))
        return 0
    made = make_demo(name, Path(folder or name), force=force)
    if as_json:
        show_json({"folder": str(made), "demo": name, "invented": True})
    else:
        click.echo(f"{name}: an invented job, now in {made}")
        click.echo(f"next: soffit design {made}")
    return 0
