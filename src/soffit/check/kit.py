"""What every check needs: what it looks at, what it is, and how it words a finding."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from soffit.evaluate.ceiling import CeilingState, SpeakerFit
from soffit.evaluate.line import LineState
from soffit.evaluate.line_sweep import LineSweep
from soffit.evaluate.sound import SoundState
from soffit.model.catalogue import AmplifierType, CableType, SpeakerType
from soffit.model.decisions import Job
from soffit.model.findings import DEFER, Finding, Mend, Severity
from soffit.model.lines import Amplifier, Channel, Line
from soffit.model.speakers import Speaker
from soffit.model.survey import Point
from soffit.tables.settings import Limits
from soffit.units import format_length, format_mass

PRACTICE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True, kw_only=True)
class LowSound:
    """What the checks need to know about the low end of a room.

    Parameters
    ----------
    tilt_db, wanted_tilt_db
        Low band over mid band, and what was asked. [dB]
    deviation_db
        Standard deviation from seat to seat over the low band. [dB]
    """

    room_key: str
    tilt_db: float
    wanted_tilt_db: float
    deviation_db: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evaluated:
    """Results that were computed before the checks run; what is missing is a finding.

    Parameters
    ----------
    ceiling
        Speakers against ceilings.
    lines, sweeps
        Lines at nominal voltage and 1 kHz, and over frequency, by key.
    sound
        All rooms; ``None`` if nobody computed them.
    low
        Rooms with a subwoofer whose low end was computed.
    failed
        Key of a line, and why it could not be computed.
    more
        Findings that a decision worded itself, such as those of the choice of subwoofers.
    """

    ceiling: CeilingState
    lines: Mapping[str, LineState] = field(default_factory=dict)
    sweeps: Mapping[str, LineSweep] = field(default_factory=dict)
    sound: SoundState | None = None
    low: tuple[LowSound, ...] = ()
    failed: tuple[tuple[str, str], ...] = ()
    more: tuple[Finding, ...] = ()

    def line(self, key: str) -> LineState | None:
        """Return the state of a line; ``None`` if it was not computed."""
        return self.lines.get(key)

    def sweep(self, key: str) -> LineSweep | None:
        """Return the sweep of a line; ``None`` if it was not computed."""
        return self.sweeps.get(key)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Context:
    """What a check looks at.

    Parameters
    ----------
    job
        Survey, catalogue, design, readings.
    states
        What was computed from them.
    moves
        Moves looked for already, by speaker key, so that several findings share one search.
    """

    job: Job
    states: Evaluated
    moves: dict[str, tuple[Mend, ...]] = field(default_factory=dict)

    @property
    def limits(self) -> Limits:
        """Limits in force."""
        return self.job.survey.limits

    @property
    def is_imperial(self) -> bool:
        """Whether people of this job read feet and pounds."""
        return self.job.survey.site.is_imperial

    @property
    def speakers(self) -> tuple[Speaker, ...]:
        """All placed speakers."""
        return self.job.design.speakers

    def type_of(self, speaker: Speaker) -> SpeakerType:
        """Return the catalogue entry of a speaker."""
        return self.job.catalogue.speaker(speaker.type_id)

    def cable_of(self, cable_id: str) -> CableType:
        """Return the catalogue entry of a cable."""
        return self.job.catalogue.cable(cable_id)

    def feeds(self, line: Line) -> tuple[tuple[Amplifier, Channel, AmplifierType], ...]:
        """Return the amplifier channels that a line hangs on; one, if all is well."""
        return tuple(
            (amplifier, channel, self.job.catalogue.amplifier(amplifier.type_id))
            for amplifier in self.job.design.amplifiers
            for channel in amplifier.channels
            if line.key in channel.line_keys
        )

    def fine(self, length_m: float) -> str:
        """Write a cut-out or a clearance.

        Parameters
        ----------
        length_m
            Length. [m]
        """
        return format_length(length_m, imperial=self.is_imperial, fine=True)

    def long(self, length_m: float) -> str:
        """Write a height or a length of cable.

        Parameters
        ----------
        length_m
            Length. [m]
        """
        return format_length(length_m, imperial=self.is_imperial)

    def mass(self, mass_kg: float) -> str:
        """Write a mass.

        Parameters
        ----------
        mass_kg
            Mass. [kg]
        """
        return format_mass(mass_kg, imperial=self.is_imperial)


_NONE_FOUND: Final = "no place, tap or type at hand cures it here"

CheckFunction = Callable[[Context], Iterable[Finding]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One entry of the registry.

    Parameters
    ----------
    code
        Stable code; never used again for something else.
    severity
        ``stop``: do not build it so. ``warn``: look before you build. ``note``: know it.
    title
        The finding in a few words.
    why
        What goes wrong on site if it is ignored.
    do
        What usually cures it.
    limits
        Names of the settings that it compares with.
    source
        Where the rule comes from, if not from a setting.
    is_caution
        A caution of safety: every finding ends by deferring to the local code.
    has_mend
        Whether its findings can carry changes that a command may apply.
    no_mend
        Why they cannot, or why a single one may have none.
    passes_on
        Whether it passes on findings that are complete already, severity and all.
    find
        The function.
    """

    code: str
    severity: Severity
    title: str
    why: str
    do: str
    find: CheckFunction
    limits: tuple[str, ...] = ()
    source: str = PRACTICE
    is_caution: bool = False
    has_mend: bool = False
    no_mend: str = ""
    passes_on: bool = False

    @property
    def page(self) -> str:
        """Path of its page in the manual."""
        return f"docs/findings/{self.code}.md"

    def run(self, context: Context) -> list[Finding]:
        """Return its findings with code, severity and ending filled in.

        Parameters
        ----------
        context
            What to look at.
        """
        return [self.complete(finding, context.limits) for finding in self.find(context)]

    def complete(self, finding: Finding, limits: Limits) -> Finding:
        """Return a finding with code, severity, source and ending filled in.

        Parameters
        ----------
        finding
            As worded by :func:`found`.
        limits
            Limits in force, whose sources are named.
        """
        source = finding.limit_source or (self.source if self.source != PRACTICE else "")
        if not source and self.limits:
            source = limits.source(self.limits[0])
        do = finding.do or self.do
        if self.is_caution and not do.endswith(DEFER):
            do = f"{do}. {DEFER}" if not do.endswith(".") else f"{do} {DEFER}"
        why = finding.why
        if not finding.mends and not why:
            why = f"no mend: {self.no_mend or _NONE_FOUND}"
        if self.passes_on:
            return replace(finding, why=why, limit_source=source or self.source)
        return replace(
            finding,
            code=self.code,
            severity=self.severity,
            do=do,
            why=why,
            limit_source=source or self.source,
            is_caution=self.is_caution,
        )


def found(
    place: str,
    what: str,
    *,
    key: str = "",
    limit: str = "",
    source: str = "",
    do: str = "",
    mends: tuple[Mend, ...] = (),
) -> Finding:
    """Word a finding; the registry fills in code and severity.

    Parameters
    ----------
    place
        Label that a person reads.
    what
        The fact with its number.
    key
        Permanent key of the place.
    limit, source
        What it was compared with, and who says so.
    do
        What cures it here, where that is more than the check's own advice.
    mends
        Changes as data.
    """
    return Finding(
        code="",
        severity="note",
        place=place,
        place_key=key,
        what=what,
        limit=limit,
        limit_source=source,
        do=do,
        mends=mends,
    )


def count_text(number: int, noun: str) -> str:
    """Write a count with its noun.

    Parameters
    ----------
    number
        How many.
    noun
        In the singular.

    Examples
    --------
    >>> count_text(1, "unit"), count_text(3, "unit")
    ('one unit', '3 units')
    """
    return f"one {noun}" if number == 1 else f"{number} {noun}s"


def at_speaker(
    speaker: Speaker | SpeakerFit,
    what: str,
    *,
    limit: str = "",
    source: str = "",
    do: str = "",
    mends: tuple[Mend, ...] = (),
) -> Finding:
    """Word a finding about a speaker, with its place on the plan.

    Parameters
    ----------
    speaker
        The speaker or its fit.
    what, limit, source, do, mends
        As for :func:`found`.
    """
    position: Point = speaker.position
    return replace(
        found(speaker.label, what, key=speaker.key, limit=limit, source=source, do=do, mends=mends),
        position=position,
        room_key=speaker.room_key,
    )


def at_room(
    room_key: str,
    label: str,
    what: str,
    *,
    limit: str = "",
    source: str = "",
    do: str = "",
    mends: tuple[Mend, ...] = (),
) -> Finding:
    """Word a finding about a room.

    Parameters
    ----------
    room_key, label
        The room.
    what, limit, source, do, mends
        As for :func:`found`.
    """
    return replace(
        found(label, what, key=room_key, limit=limit, source=source, do=do, mends=mends),
        room_key=room_key,
    )
