"""The hunt for a fault: what is known, what to do next, and when to stop.

One hunt ends in one of four ways: a place is named; the line is called sound; soffit says that no
further reading is worth its ladder ("cannot tell"); or nothing on the list fits ("refuse").
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from soffit.measure.evidence import Evidence, Listened, Shown
from soffit.measure.line_plan import LinePlan
from soffit.measure.next_test import Instrument, Test, clamp_tone_hz, next_tests
from soffit.measure.posterior import Posterior, judge, line_model
from soffit.measure.predict import LineModel
from soffit.measure.suspects import Suspect, fault_kinds, suspects_of

Outcome = Literal["go on", "found", "sound", "cannot tell", "refuse"]

ONE_KILOHERTZ: Final = (1000.0,)
ALTERNATIVES: Final = 4
LISTED_SHARE: Final = 0.02
NEARLY: Final = 0.25
"""Part of the likeliest cause's share from which another is named beside it."""
MISFIT_TAIL: Final = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """One place with what may be wrong there.

    Parameters
    ----------
    place
        Index; -1 for the whole line.
    label
        What a person calls it.
    share
        Probability.
    kinds
        Kinds with their probability given this place, likeliest first.
    words, mend
        In the trade's words, for the likeliest kind.
    """

    place: int
    label: str
    share: float
    kinds: tuple[tuple[str, float], ...]
    words: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What soffit says now.

    Parameters
    ----------
    outcome
        Whether to go on, and if not, how it ended.
    ranked
        Places by probability.
    other
        Probability that nothing on the list is the cause.
    misfit
        Probability that the best explanation would fit worse than it does.
    next_test
        What to do next; ``None`` when it ended.
    choices
        The best few tests, the chosen one first.
    because
        Why, in one sentence.
    """

    outcome: Outcome
    ranked: tuple[Ranked, ...]
    other: float
    misfit: float
    next_test: Test | None
    choices: tuple[Test, ...]
    because: str


@dataclass(slots=True)
class Hunt:
    """A hunt in progress.

    Parameters
    ----------
    plan
        The line.
    limits
        Settings by name.
    evidence
        Readings so far.
    tones_hz
        Tones of the meter in hand. [Hz]
    here
        Where the person is; -1 is the rack.
    can_listen
        Whether noise may be put on the line.
    is_noise_on
        Whether it is on.
    said
        Factors on the weight of kinds, from what people say.
    instruments
        A clamp or a voltmeter, where they are in the bag.
    """

    plan: LinePlan
    limits: Mapping[str, float]
    evidence: Evidence = field(default_factory=Evidence)
    tones_hz: tuple[float, ...] = ONE_KILOHERTZ
    here: int = -1
    can_listen: bool = True
    is_noise_on: bool = False
    said: Mapping[str, float] = field(default_factory=dict)
    instruments: frozenset[Instrument] = frozenset()
    _model: LineModel | None = None
    _suspects: tuple[Suspect, ...] = ()
    _posterior: Posterior | None = None

    def posterior(self) -> Posterior:
        """Return the posterior of all readings so far."""
        if self._posterior is None:
            if self._model is None or not set(self.evidence.tones_hz) <= set(self._model.tones_hz):
                tones = list(self.tones_hz)
                if "clamp" in self.instruments:
                    tones.append(clamp_tone_hz(self.limits))
                self._model = line_model(self.plan, self.evidence, self.limits, tones)
            if not self._suspects:
                self._suspects = suspects_of(
                    self.plan,
                    factor=lambda kind: self.said.get(kind, 1.0),
                    is_logged=bool(self.evidence.log),
                )
            self._posterior = judge(
                self.plan,
                self.evidence,
                self.limits,
                model=self._model,
                suspects=self._suspects,
            )
        return self._posterior

    def read(self, shown: Sequence[Shown]) -> None:
        """Take instrument readings in.

        Parameters
        ----------
        shown
            What was read; the person now stands where the last was taken.
        """
        self.evidence = replace(self.evidence, shown=(*self.evidence.shown, *shown))
        if shown:
            self.here = shown[-1].look.place
        self.is_noise_on = False
        self._posterior = None

    def hear(self, listened: Sequence[Listened]) -> None:
        """Take judgements by ear in.

        Parameters
        ----------
        listened
            What was heard; a silent line ends all listening.
        """
        self.evidence = replace(self.evidence, listened=(*self.evidence.listened, *listened))
        self.is_noise_on = True
        if any(item.place < 0 and item.word == "silent" for item in listened):
            self.can_listen = self.is_noise_on = False
        elif listened:
            self.here = listened[-1].place
        self._posterior = None

    def mend(self, place: int) -> None:
        """Note that a fault was mended: readings begin anew, the log stays.

        Parameters
        ----------
        place
            Where; its loudspeaker and the run that feeds it are trusted from now on.
        """
        sound = self.evidence.sound | ({place} if place >= 0 else set())
        self.evidence = Evidence(log=self.evidence.log, sound=sound)
        self.can_listen = True
        self.is_noise_on = False
        self._posterior = None

    def visited(self, place: int) -> bool:
        """Say whether a joint at or next to a place was opened and read since the last mend."""
        near = {place, *(i for i, p in enumerate(self.plan.places) if p.parent == place)}
        if place >= 0:
            near.add(self.plan.places[place].parent)
        return any(
            item.look.place in near and item.look.direction in {"out", "in", "alone"}
            for item in self.evidence.shown
        )

    def advice(self) -> Advice:
        """Say what is known and what to do next."""
        posterior = self.posterior()
        limits = self.limits
        ranked = rank(posterior)
        best = ranked[0]
        enough = limits["trace_certain_share" if self.visited(best.place) else "trace_sure_share"]
        if best.place < 0:
            enough = limits["trace_certain_share"]
        has_readings = bool(self.evidence.shown or self.evidence.listened)
        if has_readings and best.share >= enough and posterior.misfit > MISFIT_TAIL:
            outcome: Outcome = "sound" if best.kinds[0][0] == "none" else "found"
            return self._ended(posterior, ranked, outcome, f"{best.share:.1%} certain")
        tests = next_tests(
            posterior,
            here=self.here,
            tones_hz=self.tones_hz,
            can_listen=self.can_listen,
            is_noise_on=self.is_noise_on,
            instruments=self.instruments,
        )
        worth = [t for t in tests if t.bits_per_minute >= limits["trace_least_bits_min"]]
        confirm = [t for t in tests if t.kind == "joint" and t.place == best.place]
        if best.share >= limits["trace_certain_share"] and confirm:
            worth = [*confirm, *[t for t in worth if t is not confirm[0]]]
            why = f"{best.label} is {best.share:.1%} certain: read it before you mend"
        elif worth:
            why = _why(worth[0], best)
        if (
            posterior.other >= limits["trace_misfit_share"]
            and has_readings
            and not (worth and len(self.evidence.shown) < 3)
        ):
            why = "no fault on the list explains these readings together"
            return self._ended(posterior, ranked, "refuse", why)
        if not worth:
            why = "no further reading is worth its ladder"
            return self._ended(posterior, ranked, "cannot tell", why)
        return Advice(
            outcome="go on",
            ranked=ranked,
            other=posterior.other,
            misfit=posterior.misfit,
            next_test=worth[0],
            choices=tuple(worth[:ALTERNATIVES]),
            because=why,
        )

    @staticmethod
    def _ended(
        posterior: Posterior, ranked: tuple[Ranked, ...], outcome: Outcome, because: str
    ) -> Advice:
        return Advice(
            outcome=outcome,
            ranked=ranked,
            other=posterior.other,
            misfit=posterior.misfit,
            next_test=None,
            choices=(),
            because=because,
        )


def _why(test: Test, best: Ranked) -> str:
    lead = f"likeliest is {best.label} with {best.share:.0%}"
    gain = f"{test.bits:.2f} bit in {test.seconds_s / 60.0:.0f} min"
    return f"{lead}; this tells most about the place per minute ({gain})"


def _words(listed: Sequence[tuple[str, float]], label: str, *, is_whole: bool) -> str:
    """Say the likeliest cause; of the whole line also those that are nearly as likely.

    A share of the whole line that is half 'nothing is wrong' and half 'thin cable' must not read
    as a line that is sound.
    """
    kinds = fault_kinds()
    most = listed[0][1]
    told = [kind for kind, share in listed if share >= NEARLY * most] if is_whole else []
    named = [kinds[kind].words.format(place=label) for kind in told[:3] or [listed[0][0]]]
    return ", or ".join(named)


def rank(posterior: Posterior) -> tuple[Ranked, ...]:
    """Rank places, with what may be wrong at each.

    Parameters
    ----------
    posterior
        What is known.

    Returns
    -------
    tuple of Ranked
        All places that matter, at least one.
    """
    found: list[Ranked] = []
    kinds = fault_kinds()
    for place, share in posterior.by_place().items():
        if found and share < LISTED_SHARE and len(found) >= ALTERNATIVES:
            break
        inside = posterior.kinds_at(place)
        whole = max(sum(inside.values()), 1e-300)
        listed = tuple((kind, value / whole) for kind, value in inside.items())
        label = posterior.plan.name(place)
        first = kinds[listed[0][0]]
        found.append(
            Ranked(
                place=place,
                label="the whole line" if place < 0 else label,
                share=share,
                kinds=listed,
                words=_words(listed, label, is_whole=place < 0),
                mend=first.mend.format(place=label),
            )
        )
    return tuple(found)
