"""``soffit line``: the ladder question without a job."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from soffit.cli.show import write_or_show

if TYPE_CHECKING:
    from soffit.work.quick_line import QuickAnswer

CAUTION = (
    "caution: above 50 V the line can hurt; switch the amplifier off and disconnect it before "
    "work. Defer to the local code, the authority having jurisdiction (AHJ) and a licensed "
    "electrician."
)
STANDARDS = ("ASTM B258", "IEC 60228 class 2", "IEC 60228 class 5", "NEC Table 8 stranded")
METALS = ("copper", "tinned copper", "copper-clad aluminium")


@click.command(
    "line",
    epilog="Example:  soffit line --volts 100 --speakers 14 --tap '6 W' --feed '22 m' "
    "--spacing '3.6 m' --cable '1.5 mm2'",
)
@click.argument("description", required=False, type=click.Path(allow_dash=True))
@click.option("--volts", default="100", show_default=True, help="Line voltage: 25, 70.7, 100 ...")
@click.option("--speakers", type=int, help="How many, one after the other.")
@click.option("--tap", help="Tap of each, such as '6 W'.")
@click.option("--tap-volts", help="Line voltage the taps are marked for, if it is another.")
@click.option("--feed", help="Cable from the amplifier to the first, such as '22 m' or '70 ft'.")
@click.option("--spacing", help="Cable from one to the next; the feed if not given.")
@click.option("--cable", help="Conductor size, such as '16 AWG' or '1.5 mm2'.")
@click.option("--conductor", type=click.Choice(STANDARDS), help="Table of conductor resistance.")
@click.option("--metal", type=click.Choice(METALS), default="copper", help="Of the conductors.")
@click.option("--temperature", help="Temperature of the copper in °C; the limit's if not given.")
@click.option("--headroom", help="Part of the load that the amplifier keeps free, such as 20%.")
@click.option("--insertion-loss", default="0 dB", show_default=True, help="Of each transformer.")
@click.option(
    "--tap-watt",
    type=click.Choice(["drawn", "delivered"]),
    default="drawn",
    show_default=True,
    help="Whether a tap's watt leaves the line or reaches the loudspeaker.",
)
@click.option("--line", "label", help="Of a job: label of the line, such as L3.")
@click.option("--add", type=int, help="Of a job: may so many more be hung on it?")
@click.option(
    "--after", help="Of a job: label of the loudspeaker they follow; the last if not given."
)
@click.option(
    "--schematic", type=click.Path(), help="Write the schematic to this SVG file (- to show it)."
)
@click.option(
    "--curve", type=click.Path(), help="Write the impedance curve to this SVG file (- to show it)."
)
@click.option("--json", "as_json", is_flag=True, help="Write JSON.")
def command(description: str | None, as_json: bool, **words: Any) -> int:  # noqa: ANN401 options as click passes them
    """Load, amplifier, ohms and the loss at each loudspeaker of one line.

    Give an even chain by its options, or DESCRIPTION: a file (or - for standard input) with one
    run a line: start, end, length, tap, cable. Tap and cable may be empty; 'amplifier' is where
    the line begins; a second run to the same end closes a ring.

    Give the folder of a job, --line and --add to ask whether that line takes more.
    """
    asks_job = description is not None and Path(description).is_dir()
    on_job = {name: words.pop(name) for name in ("label", "add", "after")}
    if asks_job:
        _refuse_unused()
        return _add(Path(description or ""), words, on_job, as_json=as_json)
    if any(value is not None for value in on_job.values()):
        msg = "--line, --add and --after ask about a job: give its folder first"
        raise click.UsageError(msg)
    from soffit.work.quick_line import solve_quick_line
    from soffit.work.quick_line_question import LineWords, question_from_words

    drawings = {name: words.pop(name) for name in ("schematic", "curve")}
    if drawings["curve"] is not None and drawings["schematic"] == drawings["curve"]:
        msg = f"--schematic and --curve both write {drawings['curve']!r}"
        raise click.UsageError(msg)
    if as_json and "-" in drawings.values():
        msg = "--json and a drawing cannot both go to the standard output"
        raise click.UsageError(msg)
    asked = LineWords(**words)
    text = None if description is None else _read(description)
    imperial = asked.is_imperial(text)
    answer = solve_quick_line(question_from_words(asked, text=text, name=description or ""))
    _draw(answer, drawings, imperial=imperial)
    if "-" in drawings.values():
        pass  # the drawing has the standard output to itself
    elif as_json:
        click.echo(json.dumps(answer.as_dict(), ensure_ascii=False, indent=2))
    else:
        click.echo(_text(answer, imperial=imperial))
    return 1 if any(finding.severity == "stop" for finding in answer.findings) else 0


def _refuse_unused() -> None:
    """Refuse options that a question about a job does not read: silence would look like a yes."""
    context = click.get_current_context()
    read = {"description", "as_json", "label", "add", "after", "tap", "spacing"}
    given = [
        option.opts[0]
        for option in context.command.params
        if option.name not in read
        and context.get_parameter_source(option.name or "") is ParameterSource.COMMANDLINE
    ]
    if given:
        msg = f"{', '.join(given)}: the job says this already; leave it out, or the folder"
        raise click.UsageError(msg)


def _add(folder: Path, words: dict[str, Any], on_job: dict[str, Any], *, as_json: bool) -> int:
    from soffit.work.add_to_line import AddQuestion, add_to_line

    asked = AddQuestion(
        line=on_job["label"] or "",
        count=on_job["add"] or 0,
        after=on_job["after"] or "",
        tap=words["tap"] or "",
        spacing=words["spacing"] or "",
    )
    answer = add_to_line(folder, asked)
    if as_json:
        click.echo(json.dumps(answer.as_dict(), ensure_ascii=False, indent=2))
    else:
        click.echo(answer.text())
        click.echo(CAUTION)
    return 1 if any(finding.severity == "stop" for finding in answer.findings) else 0


def _read(description: str) -> str:
    from soffit.errors import JobError

    raw = sys.stdin.buffer.read() if description == "-" else Path(description).read_bytes()
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(
            what=f"{description} is not a text",
            where=f"{description}, byte {error.start}",
            why="it is not written in UTF-8",
            do="give a text file with one run a line: start, end, length, tap, cable",
        ) from None


def _draw(answer: "QuickAnswer", drawings: dict[str, str | None], *, imperial: bool) -> None:
    if drawings["schematic"] is not None:
        from soffit.work.quick_line_drawing import draw_schematic

        write_or_show(drawings["schematic"], draw_schematic(answer, imperial=imperial))
    if drawings["curve"] is not None:
        from soffit.work.quick_line_drawing import draw_impedance

        write_or_show(drawings["curve"], draw_impedance(answer))


def _text(answer: "QuickAnswer", *, imperial: bool) -> str:
    facts = answer.as_dict()
    far = 1.0 / 0.3048 if imperial else 1.0
    unit = "ft" if imperial else "m"
    rows = [
        f"load              {answer.load_w:.1f} W  (sum of taps)",
        f"drawn             {answer.drawn_w:.1f} W  (transformers and cable included)",
        f"amplifier         {answer.amplifier_w_min:.1f} W or more per channel "
        f"({facts['headroom_ratio']:.0%} over the taps, and never under what is drawn)",
        f"impedance         {answer.impedance_ohm:.3f} ohm at 1 kHz, at the amplifier's end",
        f"worst loss        {facts['worst_loss_db']:.4f} dB at loudspeaker {answer.worst.name}: "
        f"voltage -{facts['worst_voltage_drop_ratio']:.1%}, "
        f"gets {facts['worst_delivered_power_ratio']:.1%} of its tap power",
        f"in the cable      {answer.cable_w:.2f} W, "
        f"{facts['cable_power_share']:.1%} of what is drawn",
        f"cable             {answer.cable_m * far:.0f} {unit} of route, copper at "
        f"{facts['conductor_degc']:.0f} °C",
        "",
        f"{'loudspeaker':<12} {'tap W':>7} {'cable ' + unit:>9} {'volts':>8} "
        f"{'takes W':>8} {'loss dB':>8}",
    ]
    rows += [
        f"{speaker.name:<12} {speaker.tap_w:>7.1f} {speaker.distance_m * far:>9.1f} "
        f"{speaker.voltage_v:>8.2f} {speaker.power_w:>8.2f} {speaker.loss_db:>8.4f}"
        for speaker in answer.speakers
    ]
    rows += ["", *(f"resistance: {source}" for source in answer.resistance_sources)]
    rows += [
        f"{finding.severity}: {finding.what} (limit {finding.limit}, {finding.limit_source}); "
        f"{finding.do}"
        for finding in answer.findings
    ]
    if answer.question.line_voltage_v > 50.0:
        rows.append(CAUTION)
    return "\n".join(rows)
