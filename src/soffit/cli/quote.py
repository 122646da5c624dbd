"""``soffit quote``: quantities, hours and prices with their assumptions."""

from pathlib import Path

import click

from soffit.cli.show import folder_argument, json_option, show_json


@click.command("quote", epilog="Example:  soffit quote library --prices my-prices.toml")
@folder_argument
@click.option("--prices", type=click.Path(dir_okay=False), help="Your own price list, TOML.")
@click.option("--out", type=click.Path(file_okay=False), help="Where to; FOLDER/papers by default.")
@json_option
def command(folder: str, prices: str | None, out: str | None, as_json: bool) -> int:
    """Quote the job in FOLDER: low, likely and high, as PDF and workbook."""
    from soffit.work.quote import make_quote

    quoted = make_quote(
        Path(folder),
        prices=Path(prices) if prices else None,
        out=Path(out) if out else None,
    )
    if as_json:
        show_json(quoted.as_dict())
    else:
        click.echo(quoted.text())
    return 0
