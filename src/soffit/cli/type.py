"""``soffit type``: what can be bought, and how a loudspeaker type radiates."""

from pathlib import Path

import click

from soffit.cli.show import json_option, show_json, table_text


@click.command(
    "type", epilog="Example:  soffit type measured.sofa --into library --id my-6in --like ceiling-6"
)
@click.argument("file", type=click.Path(dir_okay=False), required=False)
@click.option("--into", type=click.Path(file_okay=False), help="The job whose types are meant.")
@click.option("--id", "ids", multiple=True, help="Id of a type; may be repeated with --export.")
@click.option("--like", default="", help="Type whose other data a new type takes over.")
@click.option("--list", "listed", is_flag=True, help="List all types.")
@click.option("--show", metavar="ID", help="Show one type with all its data.")
@click.option(
    "--export", type=click.Path(dir_okay=False), help="Write types: .toml, or .csv for one polar."
)
@click.option("--who", default="", help="Your name for the history.")
@json_option
def command(  # noqa: PLR0913, PLR0917 one argument an option
    file: str | None,
    into: str | None,
    ids: tuple[str, ...],
    like: str,
    listed: bool,
    show: str | None,
    export: str | None,
    who: str,
    as_json: bool,
) -> int:
    """Read a measured directivity from FILE into a job's catalogue; list, show, export types.

    FILE is an AES69 file (.sofa) or a table of levels over angle (.csv); without --into its text
    for a catalogue is printed and nothing is written.
    """
    wanted = [bool(file), listed, bool(show), bool(export)]
    if wanted.count(True) != 1:
        msg = "give FILE, or one of --list, --show and --export"
        raise click.UsageError(msg)
    folder = Path(into) if into else None
    if file:
        return _take(Path(file), folder, ids, like, who, as_json=as_json)
    from soffit.work import types

    if listed:
        rows = types.list_types(folder)
        if as_json:
            show_json({"types": [{n: getattr(r, n) for n in r.__slots__} for r in rows]})
        else:
            header = ("what", "id", "name", "whose", "source")
            cells = [(r.group, r.id, r.name, "job" if r.is_own else "demo", r.source) for r in rows]
            click.echo(table_text(header, cells))
        return 0
    if show:
        entry = types.find_type(folder, show)
        if as_json:
            show_json({"id": entry.id, "name": entry.name, "toml": types.type_text(entry)})
        else:
            click.echo(types.type_text(entry).rstrip())
        return 0
    path = types.export_types(Path(export or ""), folder=folder, ids=ids)
    if as_json:
        show_json({"file": str(path)})
    else:
        click.echo(f"written: {path}")
    return 0


def _take(
    file: Path, folder: Path | None, ids: tuple[str, ...], like: str, who: str, *, as_json: bool
) -> int:
    from soffit.work.types import take_directivity

    if len(ids) != 1:
        msg = "FILE needs one --id: the type that it was measured on"
        raise click.UsageError(msg)
    found = take_directivity(file, folder=folder, type_id=ids[0], like=like, who=who)
    if as_json:
        show_json(found.as_dict())
    else:
        click.echo(found.text())
        if folder is not None:
            click.echo(f"next: soffit design {folder}  and look at the evenness again")
    return 0
