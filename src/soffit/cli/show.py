"""What all commands print with: JSON, plain tables, progress on the error stream."""

import json
import math
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
"""The option that every command has."""

folder_argument = click.argument(
    "folder", type=click.Path(file_okay=False), default=".", metavar="[FOLDER]"
)
"""The job's folder; the current one by default."""


def show_json(body: dict[str, Any]) -> None:
    """Print one JSON object with stable order.

    Parameters
    ----------
    body
        Plain data.
    """
    click.echo(json.dumps(_finite(body), ensure_ascii=False, indent=2))


def _finite(value: Any) -> Any:  # noqa: ANN401 any plain data
    """Return the data with null where a number is infinite or none: JSON has no word for them."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


def refuse_unread(read: Iterable[str], when: str) -> None:
    """Refuse options that this call would not read: silence would look like a yes.

    Parameters
    ----------
    read
        Names of the parameters that it reads.
    when
        What makes it read only those, such as ``with --list``.

    Raises
    ------
    UsageError
        If another option was given.
    """
    context = click.get_current_context()
    given = [
        option.opts[0]
        for option in context.command.params
        if option.name not in {*read, "as_json"}
        and context.get_parameter_source(option.name or "") is ParameterSource.COMMANDLINE
    ]
    if given:
        msg = f"{', '.join(given)} would not be read {when}"
        raise click.UsageError(msg, context)


def write_or_show(name: str, text: str) -> None:
    """Write a whole file or nothing, or print the text where the name is ``-``.

    Parameters
    ----------
    name
        Path of the file, or ``-`` for the standard output.
    text
        What to write.

    Raises
    ------
    JobError
        If it cannot be written; an old file is as it was.
    """
    path = Path(name)
    if name == "-":
        click.echo(text, nl=not text.endswith("\n"))
    elif path.exists() and not path.is_file():
        with path.open("w", encoding="utf-8") as device:  # a pipe or a device; a folder refuses
            device.write(text)
    else:
        from soffit.job.files import replace_file

        replace_file(path, text)


def table_text(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a plain table; columns of numbers are set flush right.

    Parameters
    ----------
    header
        Names of the columns.
    rows
        Cells as text.
    """
    body = [list(row) for row in rows]
    widths = [max(len(cell) for cell in column) for column in zip(header, *body, strict=True)]
    right = [
        bool(body) and all(_is_number(row[index]) for row in body if row[index])
        for index in range(len(header))
    ]

    def line(cells: Sequence[str]) -> str:
        set_cells = [
            cell.rjust(width) if flush else cell.ljust(width)
            for cell, width, flush in zip(cells, widths, right, strict=True)
        ]
        return "  ".join(set_cells).rstrip()

    return "\n".join([line(list(header)), *(line(row) for row in body)])


def _is_number(cell: str) -> bool:
    return cell.replace(".", "", 1).replace("-", "", 1).replace("+", "", 1).isdigit()


def progress(*, quiet: bool) -> Callable[[float, str], None]:
    """Return a function that shows how far long work is, on a terminal only.

    Parameters
    ----------
    quiet
        Show nothing.

    Returns
    -------
    Callable
        Takes a ratio of 0 to 1 and a few words.
    """
    if quiet or not sys.stderr.isatty():
        return lambda _ratio, _text: None

    def show(ratio: float, text: str) -> None:
        done = round(24 * min(max(ratio, 0.0), 1.0))
        bar = "=" * done + " " * (24 - done)
        end = "\n" if ratio >= 1.0 else ""
        click.echo(f"\r[{bar}] {text[:48]:<48}", nl=False, err=True)
        if end:
            click.echo("\r" + " " * 76 + "\r", nl=False, err=True)

    return show
