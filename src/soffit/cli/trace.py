"""``soffit trace``: find the fault on a line in the fewest visits."""

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from soffit.cli.show import json_option, show_json

if TYPE_CHECKING:
    from soffit.measure.practice import PracticeBench
    from soffit.work.trace_book import TraceBook

HELP_WORDS = """\
type a reading, such as
  rack 98            whole line at the rack, ohms at 1 kHz
  L1-14 out 240      away from the amplifier; also: in (back to the rack), alone
  L1-14 silent       by ear: heard, silent, loud, faint
  rack silent        the whole line is silent, or the amplifier protects itself
  mended L1-14       it is put right: readings begin anew
or: why (all suspects)   others (other tests)   undo   first-hour   quit"""
PRACTICE_WORDS = (
    "  read               take the proposed test\n  reveal             say what is wrong"
)


@click.command(
    "trace",
    epilog="Examples:  soffit trace library --line L1      soffit trace --practice --speakers 30   "
    "   soffit trace --speakers 24 --tap '5 W' --volts 70.7 --guess --add 'rack 61'",
)
@click.argument("target", required=False, type=click.Path())
@click.option("--line", "line_label", help="Line of the job, such as L1.")
@click.option("--add", "entries", multiple=True, metavar="READING", help="A reading (repeat).")
@click.option("--said", multiple=True, metavar="ID", help="What people say (repeat); 'list' lists.")
@click.option("--tone", "tones", multiple=True, help="Tones of your meter; 1 kHz by default.")
@click.option("--no-ears", is_flag=True, help="No noise may be put on the line.")
@click.option(
    "--have",
    multiple=True,
    type=click.Choice(["clamp", "volts"]),
    help="Also in your bag: a clamp for one core, a voltmeter (repeat).",
)
@click.option("--session", type=click.Path(dir_okay=False), help="Keep the hunt in this file.")
@click.option("--volts", default="100", show_default=True, help="Line voltage without a job.")
@click.option("--speakers", type=int, help="How many, without a job.")
@click.option("--tap", help="Tap of each, such as '6 W'.")
@click.option("--feed", help="Cable to the first, such as '22 m'.")
@click.option("--spacing", help="Cable from one to the next.")
@click.option("--cable", help="Conductor size, such as '16 AWG'.")
@click.option("--guess", is_flag=True, help="Only count and tap are known: the rest is guessed.")
@click.option("--practice", is_flag=True, help="A made-up faulty line that answers.")
@click.option(
    "--seed", type=click.IntRange(0), default=1, show_default=True, help="Practice line to make up."
)
@click.option("--with-log", is_flag=True, help="Practice: the line has a hand-over log.")
@click.option("--first-hour", is_flag=True, help="The sheet for a line that nobody documented.")
@click.option("--ask", is_flag=True, help="Question and answer at the terminal.")
@click.option("--sure", is_flag=True, help="Keep readings that soffit asks about.")
@click.option("--new", is_flag=True, help="In a job: begin a new hunt.")
@click.option("--who", default="", help="Your name for the readings.")
@json_option
def command(  # noqa: PLR0913, PLR0917 one argument an option
    target: str | None,
    line_label: str | None,
    entries: tuple[str, ...],
    said: tuple[str, ...],
    tones: tuple[str, ...],
    no_ears: bool,
    have: tuple[str, ...],
    session: str | None,
    practice: bool,
    seed: int,
    with_log: bool,
    first_hour: bool,
    ask: bool,
    sure: bool,
    new: bool,
    who: str,
    as_json: bool,
    **words: Any,  # noqa: ANN401 options as click passes them
) -> int:
    """Find the fault on a line: TARGET is a job's folder or a description file.

    Without a job give the line by its options. Readings come by --add, or one by one with --ask;
    soffit says after each what it suspects and what to do next.
    """
    from soffit.work import trace
    from soffit.work.trace_book import tones_of

    if first_hour or "list" in said:
        return _lists(first_hour=first_hour, as_json=as_json)
    bench: PracticeBench | None = None
    if practice:
        count = words.get("speakers") or 30
        book, bench = trace.book_of_practice(seed, count, with_log=with_log)
    else:
        book = _book(target, line_label, session, words)
    book.tones_hz = tones_of(tones)
    book.can_listen = not no_ears
    book.instruments = frozenset(have)  # type: ignore[arg-type] # the option allows no other
    book.said = tuple(dict.fromkeys((*book.said, *said)))
    keeper = _Keeper(target if line_label else None, session)
    if new:
        keeper.keep(book, [book.take(_begin(book))])
    typed = [book.typed(text, now=_now(), who=who) for text in entries]
    added, doubts = book.take_clear(typed, now=_now(), is_sure=sure)
    keeper.keep(book, added)
    is_talk = ask or (practice and not as_json and not entries)
    if is_talk and not as_json:
        for doubt in doubts:
            click.echo(doubt.text())
        return _talk(book, bench, keeper, who=who)
    body = trace.advice_dict(book)
    body["doubts"] = [doubt.as_dict() for doubt in doubts]
    if as_json:
        show_json(body)
    else:
        click.echo("\n".join([*(d.text() for d in doubts), trace.advice_text(body)]))
        click.echo(trace.CAUTION)
    return 2 if doubts else 0


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _begin(book: "TraceBook") -> Any:  # noqa: ANN401 a Reading
    from soffit.model.readings import Reading
    from soffit.work.trace_book import BEGIN, new_key

    return Reading(
        key=new_key(),
        place_key=book.plan.key,
        place=book.plan.label,
        quantity="visual",
        word=BEGIN,
        taken_at=_now(),
    )


def _lists(*, first_hour: bool, as_json: bool) -> int:
    from soffit.measure.symptoms import symptoms
    from soffit.work import trace

    if first_hour:
        steps = trace.first_hour()
        if as_json:
            show_json({"first_hour": list(steps), "caution": trace.CAUTION})
        else:
            click.echo("\n".join(f"{number}. {step}" for number, step in enumerate(steps, 1)))
            click.echo(f"{trace.LIFE_SAFETY}\n{trace.CAUTION}")
        return 0
    if as_json:
        show_json({"said": [entry.as_dict() for entry in symptoms().values()]})
    else:
        click.echo("\n".join(f"{entry.id:<20} {entry.said}" for entry in symptoms().values()))
    return 0


def _book(
    target: str | None, line_label: str | None, session: str | None, words: dict[str, Any]
) -> "TraceBook":
    from soffit.errors import JobError
    from soffit.work import trace
    from soffit.work.trace_book import TraceBook, load_session

    if line_label:
        return trace.book_of_job(Path(target or "."), line_label)
    if target and Path(target).is_dir():
        raise JobError(
            what="which line of the job?",
            where="--line",
            why="a hunt is on one line",
            do="name it, such as --line L1",
        )
    if session and Path(session).exists():
        source, said, readings = load_session(Path(session))
        plan = trace.plan_of_description(source)
        return TraceBook(plan=plan, readings=readings, said=said, source=source)
    source = {**words, "text": _text_of(target) if target else None}
    if not target and words.get("speakers") is None:
        raise JobError(
            what="there is no line to trace",
            where="command line: soffit trace",
            why="neither a job, nor a description, nor a count was given",
            do="give a folder with --line, a description file, --speakers with --tap (and --guess),"
            " or --practice; soffit trace --first-hour tells how to begin on an unknown line",
        )
    return TraceBook(plan=trace.plan_of_description(source), source=source)


def _text_of(path: str) -> str:
    from soffit.work.prove import text_of

    return text_of(Path(path))


class _Keeper:
    """Keeps readings where they belong: in the job, in a session file, or nowhere."""

    def __init__(self, folder: str | None, session: str | None) -> None:
        self.folder = Path(folder) if folder else None
        self.session = Path(session) if session else None
        if self.session is not None and self.session.exists():
            from soffit.work.trace_book import load_session

            load_session(self.session)  # refuses to write over anything but a hunt

    def keep(self, book: "TraceBook", added: Sequence[Any]) -> None:
        if self.folder is not None and added:
            from soffit.job.api import append_readings

            append_readings(self.folder, added)
        if self.session is not None:
            from soffit.work.trace_book import save_session

            save_session(book, self.session)


def _talk(book: "TraceBook", bench: "PracticeBench | None", keeper: _Keeper, *, who: str) -> int:
    """Question and answer until the person leaves."""
    from soffit.errors import SoffitError
    from soffit.work import trace

    click.echo(trace.CAUTION)
    click.echo(HELP_WORDS + (f"\n{PRACTICE_WORDS}" if bench else ""))
    body = trace.advice_dict(book)
    click.echo("\n" + trace.advice_text(body))
    while True:
        try:
            line = click.prompt("", prompt_suffix="> ", default="", show_default=False)
        except click.Abort:
            return 0
        word = line.strip()
        if not word and not sys.stdin.isatty():
            return 0
        if word.casefold() in {"quit", "q", "exit"}:
            return 0
        try:
            if _aside(book, body, bench, word):
                continue
            _take(book, bench, keeper, word, who=who)
        except SoffitError as error:
            click.echo(str(error))
            continue
        body = trace.advice_dict(book)
        click.echo(trace.advice_text(body))


def _aside(
    book: "TraceBook", body: dict[str, Any], bench: "PracticeBench | None", word: str
) -> bool:
    """Answer a word that changes nothing."""
    from soffit.work import trace

    match word.casefold():
        case "":
            return True
        case "help" | "?":
            click.echo(HELP_WORDS + (f"\n{PRACTICE_WORDS}" if bench else ""))
        case "why":
            for row in body["suspects"]:
                kinds = ", ".join(f"{kind} {share:.0%}" for kind, share in row["kinds"])
                click.echo(f"  {row['probability']:>6.1%}  {row['place']:<14} {kinds}")
        case "others":
            for row in body["others"]:
                click.echo(
                    f"  {row['kind']} at {row['place']}: {row['bits']} bit, {row['minutes']} min"
                )
        case "first-hour":
            click.echo("\n".join(f"- {step}" for step in trace.first_hour()))
        case "reveal" if bench is not None:
            click.echo(_revealed(book, bench))
        case _:
            return False
    return True


def _revealed(book: "TraceBook", bench: "PracticeBench") -> str:
    if not bench.line.faults:
        return "nothing is wrong with this line"
    return "; ".join(
        f"{fault.kind} at {book.plan.name(fault.place)} ({fault.value:g})"
        for fault in bench.line.faults
    )


def _take(
    book: "TraceBook", bench: "PracticeBench | None", keeper: _Keeper, word: str, *, who: str
) -> None:
    """Take a reading, a mend or an undo in."""
    from soffit.errors import JobError
    from soffit.work import trace

    if word.casefold() == "undo":
        if book.readings:
            gone = book.readings.pop()
            if keeper.folder is not None:
                strike = _strike(gone)
                keeper.keep(book, [strike])
            else:
                keeper.keep(book, [])
        return
    if bench is not None and word.casefold() == "read":
        test = book.hunt().advice().next_test
        if test is None:
            raise JobError(
                what="there is nothing more to read",
                where="practice",
                why="the hunt has ended",
                do="type reveal, or mended PLACE, or quit",
            )
        entries = trace.practise(book, bench, test, now=_now())
        odd = [entry for entry in entries if not entry.endswith(" heard")]
        click.echo("\n".join(f"  read: {entry}" for entry in odd))
        if len(odd) < len(entries):
            click.echo(f"  read: {len(entries) - len(odd)} heard")
        return
    reading = book.typed(word, now=_now(), who=who)
    if not _is_meant(book, reading):
        click.echo("not kept")
        return
    if bench is not None and word.casefold().startswith("mended"):
        index = book.plan.index(word.partition(" ")[2] or "rack")
        bench.line = bench.line.mended(-1 if index is None else index)
    keeper.keep(book, [book.take(reading)])


def _is_meant(book: "TraceBook", reading: Any) -> bool:  # noqa: ANN401 a Reading
    """Ask about an odd reading; say whether it is to be kept."""
    doubts = book.doubts([reading], now=_now())
    for doubt in doubts:
        click.echo(doubt.text())
    if any(doubt.must_answer for doubt in doubts):
        return False
    return not doubts or click.confirm("keep it as it is?", default=False)


def _strike(gone: Any) -> Any:  # noqa: ANN401 Readings
    from dataclasses import replace

    from soffit.work.trace_book import new_key

    return replace(gone, key=new_key(), strikes=gone.key, taken_at=_now())
