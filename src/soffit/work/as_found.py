"""An old line that nobody documented: what a walk found, what a meter says, what may be added.

A walk gives types and taps as far as they could be read, in any order; what could not be read stays
unknown and widens the answer instead of stopping it. One impedance at the rack narrows it again.
"""

import csv
import io
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from soffit.check.registry import check_of
from soffit.constants import LINE_70_V
from soffit.errors import JobError, Problem, UnitError
from soffit.model.catalogue import Catalogue, SpeakerType, Tap
from soffit.model.findings import DEFER, Finding
from soffit.model.survey import Point
from soffit.tables.settings import DEFAULT_LIMITS, Limits
from soffit.units import Quantity, parse
from soffit.work.summary import finding_dict

_UNKNOWN: Final = frozenset({"", "?", "-", "unknown"})
_COLUMNS: Final = ("unit", "type", "tap", "count", "place", "state", "note", "x", "y")
_STATES: Final = ("works", "silent", "abandoned", "?")
_MOST_ROWS: Final = 2000
_MOST_SUMS: Final = 20_000
_FARTHEST_M: Final = 1e4
"""Farthest that a unit may stand from the plan's origin. [m]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundUnit:
    """One row of a walk.

    Parameters
    ----------
    label
        Name given on the walk.
    type_id
        Catalogue type; empty if nobody could tell.
    tap_w
        Tap as read; ``None`` if nobody could tell. [W]
    count
        Units that this row stands for.
    state
        ``works``, ``silent``, ``abandoned`` (cable only), or ``?``.
    at
        Plan position; ``None`` if nobody noted it. [m]
    """

    label: str
    type_id: str = ""
    tap_w: float | None = None
    count: int = 1
    place: str = ""
    state: str = "?"
    note: str = ""
    at: Point | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundLine:
    """What is known of an old line.

    Parameters
    ----------
    voltage_v
        Its nominal voltage. [V]
    units
        Rows of the walk, in any order.
    measured_ohm
        Impedance at 1 kHz at the rack, both legs disconnected; ``None`` if not measured. [Ω]
    amplifier_w
        Rating of the channel that feeds it; ``None`` if unknown. [W]
    """

    voltage_v: float
    units: tuple[FoundUnit, ...]
    measured_ohm: float | None = None
    amplifier_w: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundState:
    """What follows for an old line.

    Parameters
    ----------
    known_w
        Sum of taps that were read, as drawn from the line. [W]
    least_w, most_w
        Bounds of the whole load, with every tap that could not be read. [W]
    measured_w
        Load by the meter, U²/Z; ``None`` if not measured. [W]
    load_w
        What counts from here on: measured, else the upper bound. [W]
    n_units, n_unknown
        Units, and those whose tap could not be read.
    guesses
        Tap of each unknown unit that would explain the meter, most even first; empty if there are
        too many, or none.
    spare_w
        What may be added with headroom kept; ``None`` without a known amplifier. [W]
    replacement_id, replacement_w
        Smallest amplifier of the catalogue that carries it with headroom, and the rating needed;
        empty if there is none. [W]
    measure
        What to measure next, in order.
    findings
        By the same codes as any plan.
    """

    line: FoundLine
    known_w: float
    least_w: float
    most_w: float
    measured_w: float | None
    load_w: float
    n_units: int
    n_unknown: int
    guesses: tuple[tuple[float, ...], ...]
    spare_w: float | None
    replacement_id: str
    replacement_w: float
    measure: tuple[str, ...]
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        names = (
            "known_w", "least_w", "most_w", "measured_w", "load_w", "n_units", "n_unknown",
            "spare_w", "replacement_id", "replacement_w",
        )  # fmt: skip
        body: dict[str, Any] = {name: getattr(self, name) for name in names}
        body["voltage_v"] = self.line.voltage_v
        body["guesses"] = [list(guess) for guess in self.guesses]
        body["measure"] = list(self.measure)
        body["findings"] = [finding_dict(item) for item in self.findings]
        return body

    def text(self) -> str:
        """Return it as text."""
        measured = "" if self.measured_w is None else f"; the meter says {self.measured_w:.0f} W"
        bounds = (
            f"{self.least_w:.0f} W"
            if self.most_w - self.least_w < 0.5
            else f"{self.least_w:.0f} to {self.most_w:.0f} W"
        )
        lines = [
            f"{self.n_units} units on {self.line.voltage_v:.4g} V, {self.n_unknown} with a tap that"
            f" nobody could read: {bounds} by what was read{measured}",
        ]
        lines += [
            "  would fit the meter: " + ", ".join(f"{tap:g} W" for tap in guess)
            for guess in self.guesses[:3]
        ]
        if self.spare_w is not None:
            if self.spare_w >= 0.0:
                lines.append(f"may be added with headroom kept: {self.spare_w:.0f} W")
            else:
                lines.append(f"nothing may be added: {-self.spare_w:.0f} W over, headroom kept")
        wanted = self.replacement_id or "none of the catalogue is large enough"
        lines.append(f"amplifier to replace the old one: {self.replacement_w:.0f} W: {wanted}")
        lines += [
            "",
            "Measure:",
            *[f"  {number}. {step}" for number, step in enumerate(self.measure, 1)],
        ]
        if self.findings:
            lines += ["", "Findings:"]
            lines += [
                f"  {item.code} {item.severity} {item.place}: {item.what}" for item in self.findings
            ]
        lines += ["", DEFER]
        return "\n".join(lines)


def parse_walk(text: str, catalogue: Catalogue, *, name: str = "walk.csv") -> tuple[FoundUnit, ...]:
    """Read the notes of a walk.

    Parameters
    ----------
    text
        Table with a first row of column names among unit, type, tap, count, place, state, note,
        x, y (plan position); only ``unit`` is needed. ``?`` or nothing where nobody could tell.
    catalogue
        Types that rows may name.
    name
        Name of the file as people see it.

    Returns
    -------
    tuple of FoundUnit
        One for each row.

    Raises
    ------
    JobError
        With every row that is wrong.
    """
    rows = [row for row in csv.reader(io.StringIO(text.lstrip("\ufeff"))) if any(row)]
    head = [cell.strip().casefold() for cell in rows[0]] if rows else []
    if "unit" not in head or set(head) - set(_COLUMNS) or len(set(head)) < len(head):
        raise JobError(
            what=f"{name} does not begin with names of columns",
            where=f"{name}:1",
            why=f"they are among {', '.join(_COLUMNS)}; unit is needed, none stands twice",
            do="write for example: unit,type,tap,place",
        )
    if len(rows) > _MOST_ROWS:
        raise JobError(
            what=f"{name} has {len(rows)} rows",
            where=name,
            why=f"at most {_MOST_ROWS} are read",
            do="split it by lines",
        )
    problems: list[Problem] = []
    units = []
    for number, row in enumerate(rows[1:], 2):
        cells = {key: cell.strip() for key, cell in zip(head, row, strict=False)}
        units.append(_unit(cells, catalogue, f"{name}:{number}", problems))
    if problems:
        raise JobError.of(problems)
    return tuple(units)


def _unit(
    cells: dict[str, str], catalogue: Catalogue, where: str, problems: list[Problem]
) -> FoundUnit:
    type_id = "" if cells.get("type", "") in _UNKNOWN else cells["type"]
    known = sorted(entry.id for entry in catalogue.speaker_types)
    if type_id and type_id not in known:
        problems.append(
            Problem(
                what=f"there is no loudspeaker type {type_id!r}",
                where=where,
                why=f"the catalogue has {', '.join(known)}",
                do="name one of these, or write ?",
            )
        )
        type_id = ""
    state = cells.get("state", "") or "?"
    if state not in _STATES:
        problems.append(
            Problem(
                what=f"{state!r} is no state",
                where=where,
                why=f"units are {', '.join(_STATES)}",
                do="write one of these",
            )
        )
    return FoundUnit(
        label=cells.get("unit", ""),
        type_id=type_id,
        tap_w=_tap_w(cells.get("tap", ""), where, problems),
        count=_count(cells.get("count", ""), where, problems),
        place=cells.get("place", ""),
        state=state,
        note=cells.get("note", ""),
        at=_at(cells, where, problems),
    )


def _at(cells: dict[str, str], where: str, problems: list[Problem]) -> Point | None:
    texts = [cells.get(name, "") for name in ("x", "y")]
    if all(text in _UNKNOWN for text in texts):
        return None
    found = []
    for name, text in zip(("x", "y"), texts, strict=True):
        try:
            found.append(parse(_number_or(text), "length"))
        except UnitError as error:
            problems.append(replace(error.problems[0], where=f"{where}  {name}"))
            return None
        if abs(found[-1]) > _FARTHEST_M:
            problems.append(
                Problem(
                    what=f"{name} of {text} is not possible",
                    where=f"{where}  {name}",
                    why=f"a plan reaches {_FARTHEST_M:g} m from its origin",
                    do="check its unit; a bare number is metres",
                )
            )
            return None
    return found[0], found[1]


def _number_or(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _tap_w(text: str, where: str, problems: list[Problem]) -> float | None:
    if text in _UNKNOWN:
        return None
    try:
        value = parse(text if not text.replace(".", "", 1).isdigit() else float(text), "power")
    except UnitError as error:
        problems.append(replace(error.problems[0], where=where))
        return None
    if not 0.05 <= value <= 1000.0:
        problems.append(
            Problem(
                what=f"a tap of {value:g} W is not possible",
                where=where,
                why="taps lie between 0.05 and 1000 W",
                do="look at the unit again, or write ?",
            )
        )
        return None
    return value


def _count(text: str, where: str, problems: list[Problem]) -> int:
    if text in _UNKNOWN:
        return 1
    if not text.isdigit() or not 1 <= int(text) <= 1000:
        problems.append(
            Problem(
                what=f"{text!r} is no count",
                where=where,
                why="a row stands for 1 to 1000 units",
                do="write a whole number",
            )
        )
        return 1
    return int(text)


def judge_found(
    line: FoundLine, catalogue: Catalogue, *, limits: Limits = DEFAULT_LIMITS
) -> FoundState:
    """Say what follows for an old line.

    Parameters
    ----------
    line
        What is known of it.
    catalogue
        Types and amplifiers.
    limits
        Headroom and tolerances.

    Returns
    -------
    FoundState
        Complete.

    Raises
    ------
    JobError
        If there is no unit, or a number cannot be.
    """
    live = [unit for unit in line.units if unit.state != "abandoned"]
    _check_found(line, live)
    known = sum(_drawn_w(unit, catalogue) * unit.count for unit in live if unit.tap_w is not None)
    unknown = [unit for unit in live if unit.tap_w is None for _ in range(unit.count)]
    offers = [_possible_w(unit, catalogue, line.voltage_v) for unit in unknown]
    least = known + sum(min(offer) for offer in offers)
    most = known + sum(max(offer) for offer in offers)
    measured = None if line.measured_ohm is None else line.voltage_v**2 / line.measured_ohm
    load = measured if measured is not None else most
    headroom = 1.0 + limits["amplifier_headroom_ratio"]
    spare = None if line.amplifier_w is None else line.amplifier_w / headroom - load
    replacement = _replacement(catalogue, line.voltage_v, load * headroom)
    guesses = () if measured is None else _guesses(offers, measured - known)
    state = FoundState(
        line=line,
        known_w=known,
        least_w=least,
        most_w=most,
        measured_w=measured,
        load_w=load,
        n_units=sum(unit.count for unit in live),
        n_unknown=len(unknown),
        guesses=guesses,
        spare_w=spare,
        replacement_id=replacement,
        replacement_w=load * headroom,
        measure=tuple(_steps(line, unknown)),
        findings=(),
    )
    return replace(state, findings=tuple(_findings(state, live, catalogue, limits)))


def _check_found(line: FoundLine, live: Sequence[FoundUnit]) -> None:
    wrong = [
        (name, value)
        for name, value, least, most in (
            ("voltage_v", line.voltage_v, 5.0, 400.0),
            ("measured_ohm", line.measured_ohm, 0.05, 1e6),
            ("amplifier_w", line.amplifier_w, 1.0, 1e5),
        )
        if value is not None and not least <= value <= most
    ]
    if wrong or not live:
        raise JobError(
            what="; ".join(f"{name} of {value:g}" for name, value in wrong) or "no unit was found",
            where="walk",
            why="a line has units, a voltage of 5 to 400 V and an impedance of 0.05 Ω to 1 MΩ",
            do="check what was noted",
        )


def _type_of(unit: FoundUnit, catalogue: Catalogue) -> SpeakerType | None:
    return catalogue.speaker(unit.type_id) if unit.type_id else None


def _drawn_w(unit: FoundUnit, catalogue: Catalogue) -> float:
    """Power that a unit draws on its tap; the tap itself where its type is unknown."""
    watts = unit.tap_w or 0.0
    entry = _type_of(unit, catalogue)
    return watts if entry is None else entry.drawn_w(Tap(power_w=watts, voltage_v=100.0))


def _possible_w(unit: FoundUnit, catalogue: Catalogue, voltage_v: float) -> tuple[float, ...]:
    """Draws that a unit may have: of its type's taps, else of any ceiling type's."""
    entry = _type_of(unit, catalogue)
    types = (entry,) if entry is not None else catalogue.speaker_types
    draws = {
        round(item.drawn_w(tap), 3)
        for item in types
        if item.kind != "subwoofer" or entry is not None
        for tap in item.taps_at(voltage_v)
    }
    if unit.state == "silent":
        draws.add(0.0)
    return tuple(sorted(draws)) or (0.0,)


def _guesses(
    offers: Sequence[tuple[float, ...]], missing_w: float
) -> tuple[tuple[float, ...], ...]:
    """Find combinations of taps whose sum is within 5 % (or 1 W) of what the meter leaves."""
    if not offers or len(offers) > 12:
        return ()
    tolerance = max(1.0, 0.05 * abs(missing_w))
    found: set[tuple[float, ...]] = set()
    tried = itertools.islice(itertools.product(*offers), _MOST_SUMS)
    for combination in tried:
        if abs(sum(combination) - missing_w) <= tolerance:
            found.add(tuple(sorted(combination)))
    return tuple(sorted(found, key=lambda taps: (max(taps) - min(taps), taps)))[:10]


def _replacement(catalogue: Catalogue, voltage_v: float, needed_w: float) -> str:
    fitting = [
        (power, entry.id)
        for entry in catalogue.amplifier_types
        for power in entry.channel_power_w
        if power >= needed_w and any(abs(own - voltage_v) < 0.1 for own in entry.voltages_v)
    ]
    return min(fitting)[1] if fitting else ""


def _steps(line: FoundLine, unknown: Sequence[FoundUnit]) -> Iterable[str]:
    yield "find out whether the line serves fire alarm or evacuation: if so, stop and call its firm"
    yield "amplifier off and unplugged, both legs disconnected, volume controls up, relays at rest"
    yield "each leg to earth: open"
    if line.measured_ohm is None:
        yield "impedance of the whole line at 1 kHz (not d.c. ohms): U²/Z are its watts"
    else:
        yield "impedance of the whole line at 1 kHz again, after half an hour: it must not wander"
    if unknown:
        names = ", ".join(sorted({unit.label for unit in unknown if unit.label})[:8])
        yield f"read the taps that are missing ({names}): open the unit, or measure it alone"
    yield "open the line at a joint near its middle and measure both halves"
    yield "close every joint, measure at the rack again, and keep the log"


def _word(code: str, finding: Finding, limits: Limits) -> Finding:
    return check_of(code).complete(finding, limits)


def _findings(
    state: FoundState, live: Sequence[FoundUnit], catalogue: Catalogue, limits: Limits
) -> Iterable[Finding]:
    def say(code: str, what: str, limit: str, place: str = "line as found") -> Finding:
        return _word(
            code,
            Finding(code="", severity="note", place=place, what=what, limit=limit, do=""),
            limits,
        )

    rating = state.line.amplifier_w
    headroom = limits["amplifier_headroom_ratio"]
    if rating is not None and state.load_w > rating:
        what = f"{state.load_w:.0f} W on a channel of {rating:g} W ({state.load_w / rating:.0%})"
        yield say("AMP-01", what, f"{rating:g} W")
    elif rating is not None and state.load_w * (1.0 + headroom) > rating:
        spare = rating / state.load_w - 1.0
        yield say(
            "AMP-02", f"{state.load_w:.0f} W leaves {spare:.0%} of headroom", f"{headroom:.0%}"
        )
    if state.n_unknown or state.measured_w is None:
        taps = "one tap was" if state.n_unknown == 1 else f"{state.n_unknown} taps were"
        what = f"{taps} not read, " + (
            "and the line was not measured" if state.measured_w is None else "the meter bounds them"
        )
        yield say("LINE-16", what, "a measured line")
    if state.measured_w is not None and not (
        0.9 * state.least_w <= state.measured_w <= 1.1 * state.most_w
    ):
        side = "less" if state.measured_w < state.least_w else "more"
        cause = (
            "a unit or a branch is not connected"
            if side == "less"
            else "units that were not found, a higher tap, or an 8 Ω unit without transformer"
        )
        yield say(
            "LINE-16",
            f"the meter says {state.measured_w:.0f} W, {side} than the {state.least_w:.0f} to"
            f" {state.most_w:.0f} W that was read: {cause}",
            "within 10 %",
        )
    yield from _unit_findings(state, live, catalogue, say)
    if any(unit.state == "abandoned" for unit in state.line.units):
        count = sum(unit.count for unit in state.line.units if unit.state == "abandoned")
        yield say("CODE-10", f"{count} pieces of abandoned cable", "removed or tagged")


def _unit_findings(
    state: FoundState,
    live: Sequence[FoundUnit],
    catalogue: Catalogue,
    say: Any,  # noqa: ANN401 the wording function above
) -> Iterable[Finding]:
    volts = state.line.voltage_v
    for unit in live:
        entry = _type_of(unit, catalogue)
        place = unit.label or unit.place or "unit"
        if entry is None:
            continue
        offers = entry.taps_at(volts)
        if not offers:
            yield say("LINE-06", f"{entry.id} has no tap for {volts:.4g} V", "a tap", place)
        elif unit.tap_w is not None and not any(
            abs(tap.power_w - unit.tap_w) < 0.01 * tap.power_w for tap in offers
        ):
            texts = ", ".join(f"{tap.power_w:g}" for tap in offers)
            yield say(
                "LINE-05", f"{entry.id} has no {unit.tap_w:g} W tap there", f"{texts} W", place
            )


def read_walk(
    path: Path,
    catalogue: Catalogue,
    *,
    voltage_v: float,
    measured_ohm: float | None = None,
    amplifier_w: float | None = None,
) -> FoundState:
    """Read the notes of a walk and say what follows.

    Parameters
    ----------
    path
        Table of units.
    catalogue
        Types and amplifiers.
    voltage_v
        Nominal line voltage. [V]
    measured_ohm
        Impedance at 1 kHz at the rack; ``None`` if not measured. [Ω]
    amplifier_w
        Rating of its channel; ``None`` if unknown. [W]

    Returns
    -------
    FoundState
        Complete.

    Raises
    ------
    JobError
        If the file cannot be read or a row is wrong.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise JobError(
            what=f"{path.name} cannot be read",
            where=str(path),
            why=str(error),
            do="check the path and its encoding",
        ) from None
    units = parse_walk(text, catalogue, name=path.name)
    return judge_found(
        FoundLine(
            voltage_v=voltage_v,
            units=units,
            measured_ohm=measured_ohm,
            amplifier_w=amplifier_w,
        ),
        catalogue,
    )


def catalogue_for(job: Path | None) -> Catalogue:
    """Return the types that a walk may name.

    Parameters
    ----------
    job
        Folder of a job whose own catalogue counts, too.

    Raises
    ------
    JobError
        If there is no such job.
    """
    from soffit.job.catalogue import load_demo_catalogue
    from soffit.job.read import catalogue_of

    if job is not None and not (job / "job.toml").is_file():
        raise JobError(
            what=f"there is no job in {job.name!r}",
            where=f"--job {job}",
            why="its types cannot be read",
            do="name a folder that holds a job.toml",
        )
    return catalogue_of(job)[0] if job is not None else load_demo_catalogue()


def judge_walk(
    path: Path,
    *,
    volts: str,
    measured: str | None = None,
    amp: str | None = None,
    job: Path | None = None,
) -> FoundState:
    """Read the notes of a walk with values as people write them.

    Parameters
    ----------
    path
        Table of units.
    volts
        Nominal line voltage, such as ``70.7``.
    measured
        Impedance at 1 kHz, such as ``125 ohm``.
    amp
        Rating of the channel, such as ``60 W``.
    job
        Folder of a job whose own catalogue counts, too.

    Returns
    -------
    FoundState
        Complete.

    Raises
    ------
    JobError
        If a value, the file or a row is wrong.
    """

    def value(text: str | None, quantity: Quantity, name: str) -> float | None:
        if text is None:
            return None
        try:
            number: float | str = float(text)
        except ValueError:
            number = text
        try:
            return parse(number, quantity)
        except UnitError as error:
            raise JobError.of([replace(error.problems[0], where=name)]) from None

    voltage = value(volts, "voltage", "--volts") or 0.0
    return read_walk(
        path,
        catalogue_for(job),
        voltage_v=LINE_70_V if abs(voltage - LINE_70_V) < 0.02 else voltage,
        measured_ohm=value(measured, "resistance", "--measured"),
        amplifier_w=value(amp, "power", "--amp"),
    )
