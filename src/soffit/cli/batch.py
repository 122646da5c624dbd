"""``soffit batch``: many jobs, or many tolerance draws of one."""

from pathlib import Path

import click

from soffit.cli.show import json_option, progress, show_json, table_text


@click.command(
    "batch", epilog="Example:  soffit batch jobs/*  or  soffit batch library --draws 2000"
)
@click.argument("folders", nargs=-1, required=True, type=click.Path(file_okay=False))
@click.option(
    "--draws",
    type=click.IntRange(1, 100_000),
    help="Draw how the lines of one job may turn out, so often.",
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the draws."
)
@click.option("--address", help="Scheduler of a cluster; this machine if not given.")
@json_option
def command(
    folders: tuple[str, ...], draws: int | None, seed: int, address: str | None, as_json: bool
) -> int:
    """Design and check the jobs in FOLDERS, or draw tolerances of one."""
    from soffit.work import batch

    tell = progress(quiet=as_json)
    if draws is not None:
        if len(folders) != 1:
            msg = "--draws takes one job"
            raise click.UsageError(msg)
        spreads = batch.draw_tolerances(
            Path(folders[0]), draws=draws, seed=seed, address=address, progress=tell
        )
        if as_json:
            show_json({"lines": [row.as_dict() for row in spreads]})
        else:
            header = [
                "line",
                "draws",
                "loss dB 2.5%",
                "median",
                "97.5%",
                "ohm by taps 2.5%",
                "97.5%",
                "over",
            ]
            rows = [
                [
                    row.label,
                    str(row.draws),
                    *(f"{value:.3f}" for value in row.worst_loss_db),
                    f"{row.impedance_ohm[0]:.1f}",
                    f"{row.impedance_ohm[2]:.1f}",
                    f"{row.over_limit_ratio:.1%}",
                ]
                for row in spreads
            ]
            click.echo(table_text(header, rows))
        return 0
    done = batch.design_many([Path(folder) for folder in folders], address=address, progress=tell)
    if as_json:
        show_json({"jobs": [row.as_dict() for row in done]})
    else:
        header = ["job", "units", "lines", "watts", "worst loss dB", "stops", "warnings", "error"]
        rows = [
            [
                row.folder,
                str(row.speakers),
                str(row.lines),
                f"{row.watts_w:.0f}",
                f"{row.worst_loss_db:.2f}",
                str(row.stops),
                str(row.warnings),
                row.error.splitlines()[0][:60] if row.error else "",
            ]
            for row in done
        ]
        click.echo(table_text(header, rows))
        for row in done:
            if row.error:
                click.echo(f"\n{row.folder}:\n{row.error}", err=True)
    if any(row.error for row in done):
        return 2
    return 1 if any(row.stops for row in done) else 0
