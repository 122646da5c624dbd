"""``soffit papers``: plans, cards, schedules and sheets."""

from pathlib import Path
from typing import Any

import click

from soffit.cli.show import folder_argument, json_option, progress, show_json

PAPERS = ("a4", "a3", "letter", "ansi-b")


@click.command("papers", epilog="Example:  soffit papers library --pack installer --paper letter")
@folder_argument
@click.option("--pack", "packs", multiple=True, help="Which pack (may be given again).")
@click.option("--paper", type=click.Choice(PAPERS), help="Paper size instead of the job's.")
@click.option(
    "--out", type=click.Path(file_okay=False), help="Where to; FOLDER/papers if not given."
)
@click.option("--no-drawings", is_flag=True, help="Only the packs, no SVG drawings.")
@json_option
def command(folder: str, packs: tuple[str, ...], as_json: bool, **options: Any) -> int:  # noqa: ANN401 options as click passes them
    """Print the papers of the job in FOLDER: one PDF a pack, and the drawings as SVG."""
    from soffit.work.make_papers import make_papers

    out = options["out"]
    printed = make_papers(
        Path(folder),
        packs=packs or ("job",),
        paper=options["paper"],
        drawings=not options["no_drawings"],
        out=Path(out) if out else None,
        progress=progress(quiet=as_json),
    )
    if as_json:
        show_json(printed.as_dict())
    else:
        click.echo("\n".join(str(path) for path in printed.files))
    return 0
