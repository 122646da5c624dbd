"""Many jobs, or many tolerance draws of one, on Dask: this machine, or a cluster by address."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from soffit.circuit.cable import line_loss_db
from soffit.circuit.tree import solve_tree
from soffit.errors import JobError, MissingExtraError, Problem, SoffitError
from soffit.evaluate.line import LineArrays, line_arrays

Progress = Callable[[float, str], None]
_DRAWS_AT_ONCE = 500
_SHARES = (2.5, 50.0, 97.5)


def _dask() -> Any:  # noqa: ANN401 the package is typed in part only
    try:
        return import_module("dask.distributed")
    except ImportError as error:
        msg = "batches need dask"
        raise MissingExtraError(
            msg,
            where="soffit batch",
            why="it is an optional part of the installation",
            do="install soffit[batch]",
        ) from error


@contextmanager
def _client(dask: Any, address: str | None) -> Iterator[Any]:  # noqa: ANN401 the package is typed in part only
    if address:
        try:
            client = dask.Client(address, timeout="10s")
        except (OSError, ValueError) as error:
            raise JobError(
                what=f"no cluster answers at {address!r}",
                where="batch --address",
                why=str(error)[:200],
                do="start a scheduler there, or leave the address out to use this machine",
            ) from error
        with client:
            yield client
        return
    with (
        dask.LocalCluster(threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster,
        dask.Client(cluster) as client,
    ):
        yield client


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRow:
    """One job of a batch.

    Parameters
    ----------
    problems
        Why it could not be designed; empty if it could.
    worst_loss_db
        Greatest line loss. [dB]
    """

    folder: str
    speakers: int = 0
    lines: int = 0
    watts_w: float = 0.0
    worst_loss_db: float = 0.0
    stops: int = 0
    warnings: int = 0
    problems: tuple[Problem, ...] = ()

    @property
    def error(self) -> str:
        """All problems in words, a blank line between them."""
        return "\n\n".join(problem.text() for problem in self.problems)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data; each problem has its four parts."""
        found = {name: getattr(self, name) for name in JobRow.__slots__}
        return found | {"problems": [problem.as_dict() for problem in self.problems]}


def design_one(folder: str) -> JobRow:
    """Design and check one job; an error is a row, not the end of the batch.

    Parameters
    ----------
    folder
        Folder of the job.

    Returns
    -------
    JobRow
        Figures, or the error.
    """
    from soffit.work.make_design import make_design
    from soffit.work.run_checks import find_all

    try:
        report = make_design(Path(folder), who="batch")
        findings = find_all(report.whole)
    except SoffitError as error:
        return JobRow(folder=folder, problems=error.problems)
    return JobRow(
        folder=folder,
        speakers=sum(room.count for room in report.rooms),
        lines=len(report.lines),
        watts_w=round(sum(line.load_w for line in report.lines), 3),
        worst_loss_db=round(max((line.worst_loss_db for line in report.lines), default=0.0), 4),
        stops=sum(item.severity == "stop" and not item.accepted_by for item in findings),
        warnings=sum(item.severity == "warn" for item in findings),
    )


def design_many(
    folders: Sequence[Path], *, address: str | None = None, progress: Progress
) -> tuple[JobRow, ...]:
    """Design many jobs.

    Parameters
    ----------
    folders
        Folders of the jobs.
    address
        Scheduler of a cluster that sees the same folders; this machine if ``None``.
    progress
        Told the share done and what is being done.

    Returns
    -------
    tuple of JobRow
        In the order of the folders.
    """
    return tuple(_mapped(design_one, [str(folder) for folder in folders], address, progress))


def _mapped(
    function: Callable[[Any], Any], items: Sequence[Any], address: str | None, progress: Progress
) -> list[Any]:
    dask = _dask()
    with _client(dask, address) as client:
        futures = client.map(function, items, pure=False)
        for number, _ in enumerate(dask.as_completed(futures), 1):
            progress(number / len(futures), f"{number} of {len(futures)}")
        return list(client.gather(futures))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """How far a line as built may be from its plan; common practice, no source.

    Parameters
    ----------
    piece_sd, batch_sd
        Of a tap's impedance: each piece by itself, and all of a batch together.
    length_sd
        Of each run's length.
    copper_sd_k
        Of the copper's temperature. [K]
    """

    piece_sd: float = 0.08
    batch_sd: float = 0.06
    length_sd: float = 0.10
    copper_sd_k: float = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpread:
    """What a line may turn out to be: 2.5 %, median and 97.5 % of the draws.

    Parameters
    ----------
    worst_loss_db, impedance_ohm, drawn_w
        Three values each. [dB, Ω, W]
    over_limit_ratio
        Share of the draws whose worst loss is over the stop limit.
    """

    label: str
    draws: int
    worst_loss_db: tuple[float, float, float]
    impedance_ohm: tuple[float, float, float]
    drawn_w: tuple[float, float, float]
    over_limit_ratio: float

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {name: getattr(self, name) for name in LineSpread.__slots__}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    arrays: LineArrays
    voltage_v: float
    tolerances: Tolerances
    seed: tuple[int, int]
    draws: int


def _draw(task: _Task) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    """Return worst loss, impedance and drawn power (3, n_draws) of a line as it may be built."""
    rng = np.random.default_rng(task.seed)
    wide = task.tolerances
    arrays = task.arrays
    shape = (len(arrays.keys), task.draws)
    piece = np.exp(wide.piece_sd * rng.standard_normal(shape))
    batch = np.exp(wide.batch_sd * rng.standard_normal(task.draws))
    length = np.exp(wide.length_sd * rng.standard_normal(shape))
    heat = 1.0 + 0.00393 * wide.copper_sd_k * rng.standard_normal(task.draws)
    load = arrays.load_siemens[:, np.newaxis] / (piece * batch)
    if arrays.tree is None:
        msg = "tolerance draws need a tree"
        raise JobError(
            what=msg, where="lines", why="a ring is solved one at a time", do="open the ring"
        )
    state = solve_tree(
        arrays.tree,
        run_ohm=arrays.feeding_ohm()[:, np.newaxis] * length * heat,
        load_siemens=load,
        amplifier_voltage_v=task.voltage_v,
        step_ratio=arrays.step_ratio[:, np.newaxis],
    )
    speakers = arrays.load_siemens > 0.0
    lowest = np.min(np.real(state.voltage_v)[speakers], axis=0)
    loss = line_loss_db(amplifier_voltage_v=task.voltage_v, speaker_voltage_v=lowest)
    return np.stack([loss, np.real(state.impedance_ohm), state.amplifier_power_w])


def draw_tolerances(
    folder: Path,
    *,
    draws: int,
    seed: int = 1,
    tolerances: Tolerances | None = None,
    address: str | None = None,
    progress: Progress,
) -> tuple[LineSpread, ...]:
    """Draw how the lines of a job may turn out when built.

    Parameters
    ----------
    folder
        Folder of the job.
    draws
        Draws a line.
    seed
        Seed; the same seed gives the same draws on any number of workers.
    tolerances
        Widths; the usual ones if ``None``.
    address
        Scheduler of a cluster; this machine if ``None``.
    progress
        Told the share done and what is being done.

    Returns
    -------
    tuple of LineSpread
        One a line that is a tree.

    Raises
    ------
    JobError
        If the job cannot be read, has no design, or ``draws`` is not positive.
    """
    from soffit.job.api import open_job

    if draws < 1:
        raise JobError(
            what=f"{draws} draws",
            where="batch --draws",
            why="at least one draw is needed",
            do="ask for some hundreds",
        )
    job = open_job(folder)
    limits = job.survey.limits
    lines = [line for line in job.design.lines if line.speaker_keys and line.topology != "ring"]
    if not lines:
        raise JobError(
            what="there is no line to draw",
            where=str(folder / "design.json"),
            why="the job has no design yet",
            do=f"run: soffit design {folder}",
        )
    tasks = []
    for number, line in enumerate(lines):
        arrays = line_arrays(
            line, job.design.speakers, job.catalogue, conductor_degc=limits["conductor_degc"]
        )
        for part, count in enumerate(_parts(draws)):
            tasks.append(
                _Task(
                    arrays=arrays,
                    voltage_v=line.voltage_v,
                    tolerances=tolerances or Tolerances(),
                    seed=(seed, number * 100_000 + part),
                    draws=count,
                )
            )
    found = _mapped(_draw, tasks, address, progress)
    each = len(tasks) // len(lines)
    return tuple(
        _spread(
            line.label,
            np.concatenate(found[number * each : (number + 1) * each], axis=1),
            limits["line_loss_stop_db"],
        )
        for number, line in enumerate(lines)
    )


def _parts(draws: int) -> Iterable[int]:
    whole, rest = divmod(draws, _DRAWS_AT_ONCE)
    return [_DRAWS_AT_ONCE] * whole + ([rest] if rest else [])


def _spread(
    label: str, values: "np.ndarray[Any, np.dtype[np.float64]]", stop_db: float
) -> LineSpread:
    loss, impedance, drawn = (
        tuple(round(float(value), 4) for value in np.percentile(row, _SHARES)) for row in values
    )
    return LineSpread(
        label=label,
        draws=values.shape[1],
        worst_loss_db=(loss[0], loss[1], loss[2]),
        impedance_ohm=(impedance[0], impedance[1], impedance[2]),
        drawn_w=(drawn[0], drawn[1], drawn[2]),
        over_limit_ratio=float(np.mean(values[0] > stop_db)),
    )
