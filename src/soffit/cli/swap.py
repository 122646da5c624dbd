"""``soffit swap``: a loudspeaker type is not to be had; what changes with another one."""

from pathlib import Path

import click

from soffit.cli.show import json_option, show_json


@click.command("swap", epilog="Example:  soffit swap library ceiling-4 ceiling-6 --paper")
@click.argument("folder", type=click.Path(file_okay=False))
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="[NEW]", required=False)
@click.option("--apply", "applied", is_flag=True, help="Replace OLD by NEW in the design.")
@click.option("--paper", is_flag=True, help="Print it as PDF into the job's papers.")
@click.option("--who", default="", help="Your name for the history.")
@json_option
def command(
    folder: str, old: str, new: str | None, applied: bool, paper: bool, who: str, as_json: bool
) -> int:
    """Say what changes when type OLD is replaced by NEW, or by each type that could be."""
    from soffit.work.substitute import apply_substitution, substitute, substitution_paper

    if (applied or paper) and not new:
        msg = "--apply and --paper need the new type"
        raise click.UsageError(msg)
    found = substitute(Path(folder), old, new)
    printed = substitution_paper(Path(folder), found[0]) if paper else None
    if applied and new:
        apply_substitution(Path(folder), old, new, who=who)
    if as_json:
        body = {"substitutions": [item.as_dict() for item in found], "applied": applied}
        show_json(body | ({"paper": str(printed)} if printed else {}))
    else:
        click.echo("\n\n".join(item.text() for item in found))
        if printed:
            click.echo(f"\nprinted: {printed}")
        if applied:
            click.echo("applied; next: soffit check " + folder)
    does_not_fit = bool(new) and any(item.severity == "stop" for item in found[0].added)
    return 1 if does_not_fit else 0
