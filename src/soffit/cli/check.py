"""``soffit check``: what is risky, against which limit, from which source, and the mend."""

from pathlib import Path

import click

from soffit.cli.show import folder_argument, json_option, refuse_unread, show_json


@click.command("check", epilog="Example:  soffit check library --mend CLEAR-02 --place L2-03")
@folder_argument
@click.option("--list", "listed", is_flag=True, help="List every finding that there can be.")
@click.option("--explain", metavar="CODE", help="Say what a finding means and what cures it.")
@click.option("--mend", metavar="CODE", help="Apply the first mend of this finding, as decided.")
@click.option("--place", metavar="LABEL", help="With --mend: only at this place.")
@click.option("--who", default="", help="Your name for the history.")
@json_option
def command(
    folder: str,
    listed: bool,
    explain: str | None,
    mend: str | None,
    place: str | None,
    who: str,
    as_json: bool,
) -> int:
    """List what is risky in the job in FOLDER, worst first."""
    import soffit.work.run_checks as work

    if listed or explain:
        refuse_unread(("folder", "listed", "explain"), "with --list or --explain")
    elif not mend:
        refuse_unread(("folder", "mend"), "without --mend")
    if listed or explain:
        entries = work.explain_checks(explain)
        if as_json:
            show_json({"checks": [entry.as_dict() for entry in entries]})
        else:
            click.echo("\n".join(entry.text(full=bool(explain)) for entry in entries))
        return 0
    if mend:
        done = work.apply_mends(Path(folder), mend, place=place, who=who)
        if as_json:
            show_json({"mended": list(done)})
        else:
            click.echo("\n".join(f"mended: {text}" for text in done))
        return 0
    report = work.run_checks(Path(folder))
    if as_json:
        show_json(report.as_dict())
    else:
        click.echo(report.text())
    return 1 if report.has_stop else 0
