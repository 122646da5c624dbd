"""``soffit papers``: plans, cards, schedules and sheets."""

from pathlib import Path
from typing import Any

import click

from soffit.cli.show import folder_argument, json_option, progress, refuse_unread, show_json

PAPERS = ("a4", "a3", "letter", "ansi-b")


@click.command("papers", epilog="Example:  soffit papers library --pack installer --paper letter")
@folder_argument
@click.option(
    "--pack",
    "packs",
    multiple=True,
    help="job (the default), installer, commissioner, office, handover (repeat), or all.",
)
@click.option(
    "--extra",
    "extras",
    multiple=True,
    help="Other files, named by --list (repeat), all or none; drawings by default.",
)
@click.option(
    "--model",
    type=click.Path(dir_okay=False),
    help="With --extra ifc: building model to add to; it stays as it is.",
)
@click.option("--list", "listed", is_flag=True, help="List packs and other files.")
@click.option("--paper", type=click.Choice(PAPERS), help="Paper size instead of the job's.")
@click.option("--out", type=click.Path(file_okay=False), help="Where to; FOLDER/papers by default.")
@click.option("--only", type=click.Choice(["plan", "line"]), help="One drawing.")
@click.option("--room", help="With --only plan: its room.")
@click.option("--line", help="With --only line: its line.")
@click.option(
    "--svg",
    type=click.Path(dir_okay=False, allow_dash=True),
    help="With --only: file to write, or - for a pipe.",
)
@json_option
def command(
    folder: str,
    packs: tuple[str, ...],
    extras: tuple[str, ...],
    as_json: bool,
    **options: Any,  # noqa: ANN401 options as click passes them
) -> int:
    """Print the papers of the job in FOLDER: one PDF a pack, drawings as SVG, other files."""
    from soffit.work.make_papers import EXTRAS, PACK_NAMES, make_papers, one_drawing, write_file

    if options["listed"]:
        known = {**PACK_NAMES, **EXTRAS}
        if as_json:
            show_json({"packs": PACK_NAMES, "extras": EXTRAS})
        else:
            click.echo("\n".join(f"{name:<14} {text}" for name, text in known.items()))
        return 0
    if options["only"]:
        refuse_unread(("folder", "only", "room", "line", "svg"), "with --only")
        text = one_drawing(
            Path(folder), options["only"], room=options["room"], line=options["line"]
        )
        if options["svg"] in {None, "-"}:
            click.echo(text, nl=False)
        else:
            write_file(Path(options["svg"]), text)
        return 0
    read = ["folder", "packs", "extras", "model", "paper", "out"]
    refuse_unread(read, "without --only")
    out = options["out"]
    printed = make_papers(
        Path(folder),
        packs=tuple(PACK_NAMES) if "all" in packs else packs or ("job",),
        extras=_extras(extras, EXTRAS),
        paper=options["paper"],
        out=Path(out) if out else None,
        model=Path(options["model"]) if options["model"] else None,
        progress=progress(quiet=as_json),
    )
    if as_json:
        show_json(printed.as_dict())
    else:
        click.echo("\n".join(str(path) for path in printed.files))
        for note in printed.notes:
            click.echo(f"note: {note}; printed as its code in brackets", err=True)
    return 0


def _extras(wanted: tuple[str, ...], known: dict[str, str]) -> tuple[str, ...]:
    if "all" in wanted:
        return tuple(name for name in known if name != "ifc" or "ifc" in wanted or _has_ifc())
    if "none" in wanted:
        return ()
    return wanted or ("drawings",)


def _has_ifc() -> bool:
    """Return whether a building model can be written; say so where it cannot."""
    from importlib.util import find_spec

    if find_spec("ifcopenshell"):
        return True
    click.echo('note: no building model: it needs pip install "soffit[ifc]"', err=True)
    return False
