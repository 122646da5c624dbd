"""Entry point: a group that imports a command only when it is called, and words every error."""

import importlib
import json
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Final

import click

from soffit import __version__
from soffit.errors import Problem, SoffitError

COMMANDS: Final[tuple[tuple[str, str], ...]] = (
    ("new", "begin a job in an empty folder"),
    ("demo", "copy an invented demo job into a folder"),
    ("read", "make or update a job from a plan file or a room list"),
    ("design", "place, tap, wire and size; say why"),
    ("check", "list what is risky, with limits, sources and mends"),
    ("papers", "print plans, cards, schedules and sheets"),
    ("quote", "quantities, hours and prices with their assumptions"),
    ("line", "one line without a job: load, amplifier, ohms, loss"),
    ("prove", "enter readings and get a verdict on each"),
    ("trace", "find the fault on a line in the fewest visits"),
    ("retap", "even out measured levels by changing taps"),
    ("walk", "judge an old line from what a walk and a meter found"),
    ("swap", "what changes when a loudspeaker type is not to be had"),
    ("type", "list types, read a measured directivity into a job, export"),
    ("batch", "design many jobs, or many tolerance draws of one"),
    ("serve", "open the page on which the whole job is done"),
)
"""Name and one line of help, in the order of the job; modules are ``soffit.cli.<name>``."""


SHOWN: Final = 30
"""Problems that a terminal shows at once; JSON has all of them."""


class JobGroup(click.Group):
    """Commands by name, imported when they are called and not before."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 given by click
        """Return the commands in the order of the job."""
        return [name for name, _ in COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 given by click
        """Import and return one command."""
        if cmd_name not in {name for name, _ in COMMANDS}:
            return None
        command: click.Command = importlib.import_module(f"soffit.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 given by click
        """Write the list from the table, without importing any command."""
        with formatter.section("Commands, in the order of the job"):
            formatter.write_dl(list(COMMANDS))


@click.group(
    cls=JobGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Try:  soffit demo library  then  soffit design library  and  soffit papers library",
)
@click.version_option(__version__, prog_name="soffit")
def root() -> None:
    """Ceiling loudspeakers on 25, 70.7 and 100 V lines: plan, papers, proof, fault finding.

    Exit codes: 0 clean, 1 findings of severity stop, 2 unusable job or usage, 3 our bug.
    """


def _tell(problems: Sequence[Problem], *, as_json: bool) -> None:
    if as_json:
        first = problems[0].as_dict()
        body = {"error": first, "more": [item.as_dict() for item in problems[1:]], "findings": []}
        click.echo(json.dumps(body, ensure_ascii=False, indent=2))
        return
    click.echo("\n\n".join(problem.text() for problem in problems[:SHOWN]), err=True)
    if len(problems) > 1:
        part = f", the first {SHOWN} shown" if len(problems) > SHOWN else ""
        click.echo(f"\n{len(problems)} problems{part}; nothing was changed.", err=True)


def _usage_problem(error: click.ClickException) -> Problem:
    context = getattr(error, "ctx", None)
    path = context.command_path if context else "soffit"
    return Problem(
        what=error.format_message(),
        where=f"command line: {path}",
        why="the words of the call are not what this command takes",
        do=f"see {path} --help",
    )


def _os_problem(error: OSError) -> Problem:
    return Problem(
        what=f"{error.filename or 'a file'}: {error.strerror or error}",
        where=str(error.filename or "a file that this command writes"),
        why="the operating system refused",
        do="check that the path exists, may be read or written, and that the disk has room",
    )


def _bug_problem(error: BaseException) -> Problem:
    place = traceback.extract_tb(error.__traceback__)[-1]
    return Problem(
        what=f"soffit stumbled: {type(error).__name__}: {error}",
        where=f"{place.name}, line {place.lineno}",
        why="this is our bug, not your job",
        do="report it with the command you gave; SOFFIT_DEBUG=1 shows the whole trace",
    )


def _problems(error: Exception) -> tuple[Sequence[Problem], int]:
    """Return what to say of an error, and the exit code."""
    if isinstance(error, SoffitError):
        return error.problems, 2
    if isinstance(error, click.ClickException):
        return [_usage_problem(error)], 2
    if isinstance(error, OSError):
        return [_os_problem(error)], 2
    if os.environ.get("SOFFIT_DEBUG"):
        raise error
    return [_bug_problem(error)], 3


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments
        Words after ``soffit``.

    Returns
    -------
    int
        0 clean, 1 findings of severity stop, 2 unusable job or usage, 3 our bug.
    """
    try:
        result = root.main(args=list(arguments), prog_name="soffit", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped; nothing was half-written.", err=True)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # noqa: BLE001 the last line of defence: nobody sees a traceback
        problems, code = _problems(error)
        _tell(problems, as_json="--json" in arguments)
        return code
    return int(result) if isinstance(result, int) else 0


def main() -> None:
    """Run the words of the command line and exit with their code."""
    # One thread for linear algebra: the same bits on every machine, and small solves are quicker.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(run(sys.argv[1:]))
