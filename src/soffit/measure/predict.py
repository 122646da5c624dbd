"""What every instrument would show under every suspicion, with exact sensitivities.

A line is solved for many suspicions at once (one case each). What is not known about a healthy
line, the nuisance, is a vector of independent standard normal numbers: how all loudspeakers of a
batch stray (one set of directions times a few smooth patterns along the line), how each strays of
its own, the resistance of each run, and what all runs share. A reading is then Gaussian in ln|Z|:
its mean comes from the exact solution, its covariance from the exact sensitivities.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np

from soffit.circuit.arrays import ComplexArray, FloatArray
from soffit.circuit.tree import TreeState, solve_tree
from soffit.decibel import field_ratio_db, power_ratio_db
from soffit.measure.line_plan import LinePlan
from soffit.measure.shape import ShapePrior, shape_prior
from soffit.measure.suspects import WHOLE_LINE, Suspect, fault_kinds

Direction = Literal["whole", "out", "in", "alone", "volts", "amps"]

BREAK_OHM: Final = 1e7
CABLE_H_M: Final = 0.6e-6
CABLE_F_M: Final = 100e-12
"""Loop inductance and capacitance of cable, middle of the usual 0.5-0.7 µH/m and 50-150 pF/m."""
CABLE_H_SD: Final = 0.3
"""How far that inductance may be off, one standard deviation."""
LEADS_MOST: Final = 1.5
BESIDE: Final = frozenset({"short", "extra", "open", "corroded"})
"""Faults beside a loudspeaker: the piece alone reads right."""
EAR_HZ: Final = 1000.0
DEAD_DB: Final = -90.0
BATCH_PATTERNS: Final = 5
ONE_BATCH_SHARE: Final = 0.6
"""Part of the batch variance that the whole line shares; the rest changes slowly along it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One thing to read.

    Parameters
    ----------
    direction
        ``whole`` at the rack; ``out``, ``in`` or ``alone`` at a place with its joint open;
        ``volts`` and ``amps`` over 1 V at the rack, nothing opened.
    place
        Index of the place; -1 for the rack.
    tone_hz
        Tone. [Hz]
    """

    direction: Direction
    place: int
    tone_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """Readings under suspicions.

    Parameters
    ----------
    mean : (n_suspects, n_looks)
        Mean of the natural logarithm of the reading.
    slope : (n_suspects, n_looks, n_nuisance)
        Its change per standard deviation of each unknown; the last three are the leads of the
        instrument, the size of the fault, and the gain of the instrument.
    excess_db : (n_suspects, n_places)
        Level of each loudspeaker over its plan. [dB]
    rack_ratio : (n_suspects,)
        |Z| at the rack at 1 kHz over the plan's.
    """

    mean: FloatArray
    slope: FloatArray
    excess_db: FloatArray
    rack_ratio: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cases:
    """Many suspicions as circuits; shares are by tone, case and place."""

    load_s: ComplexArray
    run_ohm: ComplexArray
    alone_ohm: ComplexArray
    load_share: ComplexArray
    run_share: ComplexArray
    size_slope: ComplexArray
    hung_share: ComplexArray
    wire_share: ComplexArray
    gain_db: FloatArray


def _by_tone(values: ComplexArray) -> ComplexArray:
    """Turn (n_places, n_cases, n_tones) into (n_tones, n_cases, n_places), laid out so."""
    return np.ascontiguousarray(np.transpose(values, (2, 1, 0)))


def _at_tones(state: TreeState, tones: Sequence[int]) -> TreeState:
    """Return a solved line at some of its tones."""
    if list(tones) == list(range(state.run_ohm.shape[-1])):
        return state
    pick = list(tones)
    return replace(
        state,
        run_ohm=state.run_ohm[..., pick],
        load_siemens=state.load_siemens[..., pick],
        step_ratio=state.step_ratio[..., pick],
        transfer_ratio=state.transfer_ratio[..., pick],
        voltage_v=state.voltage_v[..., pick],
        outward_siemens=state.outward_siemens[..., pick],
        run_current_a=state.run_current_a[..., pick],
    )


def _batch_patterns(plan: LinePlan) -> FloatArray:
    """Smooth patterns (n_places, n_patterns) in which batches vary along the line.

    Neighbours by the number of runs between them tend to come from one box. Patterns of equal
    weight are kept or left together, so that equal loudspeakers stay equal.
    """
    count = len(plan.places)
    steps = np.zeros((count, count))
    for i in range(count):
        here = set(plan.tree.path(i + 1))
        for j in range(i):
            steps[i, j] = steps[j, i] = len(here ^ set(plan.tree.path(j + 1)))
    kernel = ONE_BATCH_SHARE + (1.0 - ONE_BATCH_SHARE) * np.exp(-steps / max(count / 3.0, 1.0))
    values, vectors = np.linalg.eigh(kernel)
    values, vectors = values[::-1], vectors[:, ::-1]
    kept = min(BATCH_PATTERNS, count)
    while 0 < kept < count and math.isclose(values[kept - 1], values[kept], rel_tol=1e-6):
        kept -= 1
    return np.asarray(vectors[:, :kept] * np.sqrt(np.maximum(values[:kept], 0.0)))


@dataclass(slots=True)
class _Known:
    """Sensitivities that several looks share, by node and tone; only tones that are asked for."""

    out_tones: dict[int, list[int]] = field(default_factory=dict)
    back_tones: dict[int, list[int]] = field(default_factory=dict)
    out: dict[tuple[int, int], tuple[ComplexArray, ...]] = field(default_factory=dict)
    back: dict[tuple[int, int], tuple[ComplexArray, ...]] = field(default_factory=dict)

    def ask(self, looks: Sequence[Look], tones_hz: Sequence[float]) -> None:
        """Note which tones are looked at where."""
        for look in looks:
            node = 0 if look.direction == "whole" else look.place + 1
            where = self.back_tones if look.direction == "in" else self.out_tones
            tones = where.setdefault(node, [])
            tone = tones_hz.index(look.tone_hz)
            if tone not in tones:
                tones.append(tone)


class LineModel:
    """A line with everything that is not known about it.

    Parameters
    ----------
    plan
        The line.
    tones_hz
        Tones that will be asked for; 1 kHz is added for the ears. [Hz]
    limits
        Settings by name.
    """

    def __init__(
        self, plan: LinePlan, tones_hz: Sequence[float], limits: Mapping[str, float]
    ) -> None:
        self.plan = plan
        self.limits = limits
        self.tones_hz = tuple(sorted({*(float(t) for t in tones_hz), EAR_HZ}))
        self.ear = self.tones_hz.index(EAR_HZ)
        self.shapes = self._shapes()
        omega = 2.0 * np.pi * np.asarray(self.tones_hz)
        count = len(plan.places)
        self.speaker_ohm = np.full((count, len(omega)), np.inf + 0j)
        for i in plan.speakers:
            self.speaker_ohm[i] = plan.nominal_ohm[i] * np.exp(self.shapes[i].mean)
        self.run_ohm: ComplexArray = (
            plan.run_loop_ohm[:, None]
            + limits["joint_ohm"]
            + 1j * omega * CABLE_H_M * plan.length_m[:, None]
        ).astype(np.complex128)
        reactance = 1j * omega * CABLE_H_M * plan.length_m[:, None]
        self.reactive_share = reactance / self.run_ohm
        self.cable_s = np.zeros((count + 1, len(omega)), dtype=np.complex128)
        for i, place in enumerate(plan.places):
            half = 0.5j * omega * CABLE_F_M * place.length_m
            self.cable_s[i + 1] += half
            self.cable_s[place.parent + 1] += half
        self._set_nuisance()

    def _shapes(self) -> dict[int, ShapePrior]:
        """Prior of each loudspeaker; places of one type share one."""
        return {
            i: shape_prior(
                self.tones_hz,
                loss_db=self.plan.places[i].loss_db,
                low_limit_hz=self.plan.places[i].low_limit_hz,
            )
            for i in self.plan.speakers
        }

    def _set_nuisance(self) -> None:
        plan, limits = self.plan, self.limits
        count = len(plan.places)
        first = next(iter(self.shapes.values()), shape_prior(self.tones_hz))
        length_sd, common_sd, load_sd = {
            "drawn up": (limits["run_length_sd"], limits["run_length_common_sd"], 0.0),
            "told": (limits["told_length_sd"], limits["told_length_sd"], limits["told_load_sd"]),
            "guessed": (
                limits["guessed_length_sd"],
                limits["guessed_length_sd"],
                limits["guessed_load_sd"],
            ),
        }[plan.trust]
        self.own = first.own
        flat = np.ones((1, len(self.tones_hz))) * load_sd
        self.common = np.concatenate([first.common, flat.astype(np.complex128)])
        self.patterns = _batch_patterns(plan)
        self.run_sd = np.full(count, length_sd)
        self.run_common_sd = common_sd
        n_own, n_common = count * len(self.own), self.patterns.shape[1] * len(self.common)
        self.n_state = n_own + n_common + count + 2
        self.state_mean = np.zeros(self.n_state)
        self.state_factor: FloatArray | None = None

    @property
    def planned_rack_ohm(self) -> float:
        """|Z| at 1 kHz at the rack of the healthy line as known now. [Ω]."""
        cases = self._cases([_HEALTHY], with_slope=False)
        state = self._solve(cases)
        return float(np.abs(state.impedance_ohm[0, self.ear]))

    def learn(self, looks: Sequence[Look], ln_reading: FloatArray, noise: FloatArray) -> None:
        """Take a log of the healthy line in: what is known about each piece from now on.

        Parameters
        ----------
        looks
            What was read.
        ln_reading : (n_looks,)
            Natural logarithm of each reading.
        noise : (n_looks, n_looks)
            Covariance of its own scatter, the instrument's gain apart.

        Notes
        -----
        One Gauss-Newton step and one repetition from there: the exact solution is redone at the
        better mean. Units then may have drifted since, and the copper has another temperature.
        """
        gain = self.limits["meter_gain_sd"]
        covariance = noise + gain**2
        for _ in range(2):
            prediction = self.predict([_HEALTHY], looks)
            slope = prediction.slope[0, :, : self.n_state]
            residual = ln_reading - prediction.mean[0] + slope @ self.state_mean
            inner = slope @ slope.T + covariance
            kalman = np.linalg.solve(inner, slope).T
            self.state_mean = kalman @ residual
        left = np.eye(self.n_state) - kalman @ slope
        left = 0.5 * (left + left.T)
        values, vectors = np.linalg.eigh(left)
        factor = vectors * np.sqrt(np.maximum(values, 0.0))
        drift = self.limits["log_drift_sd"]
        count, n_own = len(self.plan.places), len(self.own)
        extra = np.zeros((self.n_state, count + 1))
        largest = max(float(np.linalg.norm(self.own[:, self.ear].real)), 1e-6)
        for i in range(count):
            own = self.own[:, self.ear].real / largest
            extra[i : count * n_own : count, i] = own * drift / largest
        extra[-2, count] = 0.04 / self.run_common_sd  # copper 10 K warmer or colder
        self.state_factor = np.concatenate([factor, extra], axis=1)

    def _nominal(self) -> tuple[ComplexArray, ComplexArray]:
        """Loudspeakers and runs at the mean of what is known: (n_places, n_tones) each."""
        if not np.any(self.state_mean):
            return self.speaker_ohm, self.run_ohm
        count, n_own = len(self.plan.places), len(self.own)
        own = self.state_mean[: count * n_own].reshape(n_own, count).T
        cut = count * n_own + self.patterns.shape[1] * len(self.common)
        common = self.state_mean[count * n_own : cut].reshape(
            self.patterns.shape[1], len(self.common)
        )
        runs = self.state_mean[cut : cut + count]
        shift = own @ self.own + self.patterns @ (common @ self.common)
        hung = list(self.plan.speakers)
        speaker = self.speaker_ohm.copy()
        speaker[hung] *= np.exp(shift[hung])
        stretch = np.exp(self.run_sd * runs + self.run_common_sd * self.state_mean[-2])
        reactive = self.reactive_share * (np.exp(CABLE_H_SD * self.state_mean[-1]) - 1.0)
        return speaker, np.asarray(self.run_ohm * (1.0 + reactive) * stretch[:, None])

    def _cases(self, suspects: Sequence[Suspect], *, with_slope: bool = True) -> _Cases:
        """Build the circuits of some suspicions; shares stay empty where no slope is wanted."""
        count, n_tones, n_cases = len(self.plan.places), len(self.tones_hz), len(suspects)
        speaker, run = self._nominal()
        alone = np.repeat(speaker[:, None, :], n_cases, axis=1)
        runs = np.repeat(run[:, None, :], n_cases, axis=1)
        extra = np.zeros((count, n_cases, n_tones), dtype=np.complex128)
        load_share = np.zeros((count, n_cases, n_tones), dtype=np.complex128)
        run_share = np.zeros((count, n_cases, n_tones), dtype=np.complex128)
        gain_db = np.zeros((count, n_cases))
        size_slope = np.ones((n_cases, n_tones), dtype=np.complex128)
        for h, suspect in enumerate(suspects):
            if suspect.kind == "none":
                continue
            if with_slope:
                size_slope[h] = self._size_slope(suspect)
            self._spoil(
                suspect,
                alone=alone[:, h],
                runs=runs[:, h],
                extra=extra[:, h],
                load_share=load_share[:, h],
                run_share=run_share[:, h],
                gain_db=gain_db[:, h],
            )
        hung = 1.0 / alone
        load = np.zeros((count + 1, n_cases, n_tones), dtype=np.complex128)
        load[1:] = hung + extra
        load += self.cable_s[:, None, :]
        run_ohm = np.zeros((count + 1, n_cases, n_tones), dtype=np.complex128)
        run_ohm[1:] = runs
        if not with_slope:
            none = np.zeros((0, 0, 0), dtype=np.complex128)
            return _Cases(
                load_s=load,
                run_ohm=run_ohm,
                alone_ohm=alone,
                load_share=none,
                run_share=none,
                size_slope=size_slope,
                hung_share=none,
                wire_share=none,
                gain_db=gain_db,
            )
        full = np.where(load[1:] == 0.0, 1.0, load[1:])
        # A share of the piece that hangs, or of what was added beside it.
        spoiled = np.nonzero(np.any(load_share != 0.0, axis=2))
        beside = extra[spoiled]
        share = np.where(beside != 0.0, beside, hung[spoiled]) / full[spoiled]
        load_share[spoiled] *= share * size_slope[spoiled[1]]
        return _Cases(
            load_s=load,
            run_ohm=run_ohm,
            alone_ohm=alone,
            load_share=_by_tone(load_share),
            run_share=_by_tone(run_share),
            size_slope=size_slope,
            hung_share=_by_tone(hung / full),
            wire_share=_by_tone(self._wire_share(suspects, runs, run)),
            gain_db=gain_db,
        )

    @staticmethod
    def _wire_share(
        suspects: Sequence[Suspect], runs: ComplexArray, healthy: ComplexArray
    ) -> ComplexArray:
        """Part (n_places, n_cases, n_tones) of each run that is wire and strays as wire does."""
        share = np.ones_like(runs)
        for h, suspect in enumerate(suspects):
            if suspect.kind in {"open", "corroded"}:
                share[suspect.place, h] = healthy[suspect.place] / runs[suspect.place, h]
        return share

    def _size_slope(self, suspect: Suspect) -> ComplexArray | float:
        """Change of ln Z of a spoiled load per change of ln(size)."""
        if "capacitor" not in suspect.kind or not self.shapes:
            return 1.0
        place = suspect.place if suspect.place >= 0 else self.plan.speakers[0]
        shape, step = self.shapes[place], 1.1
        change = shape.with_capacitor(step * suspect.size) - shape.with_capacitor(suspect.size)
        return np.asarray(change / math.log(step))

    def _spoil(
        self,
        suspect: Suspect,
        *,
        alone: ComplexArray,
        runs: ComplexArray,
        extra: ComplexArray,
        load_share: ComplexArray,
        run_share: ComplexArray,
        gain_db: FloatArray,
    ) -> None:
        """Put one fault into the arrays of one case."""
        i, size = suspect.place, suspect.size
        where: slice | int = slice(None) if i < 0 else i
        match suspect.kind:
            case "open":
                runs[i] = BREAK_OHM
            case "corroded":
                run_share[i] = size / (runs[i] + size)
                runs[i] += size
            case "thin cable":
                run_share[:] = 1.0
                runs *= size
            case "short":
                extra[i] = 1.0 / size
                load_share[i] = 1.0
            case "extra":
                one = self.plan.voltage_v**2 / size
                mean = next(iter(self.shapes.values())).mean
                extra[i] = np.exp(-mean) / one
                load_share[i] = 1.0
            case _:
                load_share[where] = 1.0
                for j in self.plan.speakers if i < 0 else (i,):
                    alone[j], gain_db[j] = self._spoiled_speaker(suspect, j, alone[j])

    def _spoiled_speaker(
        self, suspect: Suspect, place: int, healthy: ComplexArray
    ) -> tuple[ComplexArray, float]:
        """Impedance and level over plan of one loudspeaker with a fault of its own."""
        plan, shape = self.plan, self.shapes[place]
        nominal = float(plan.nominal_ohm[place])
        size = suspect.size
        match suspect.kind:
            case "missing":
                return np.full_like(healthy, BREAK_OHM), DEAD_DB
            case "burnt":
                return np.asarray(nominal * np.exp(shape.burnt)), DEAD_DB
            case "coil short":
                return np.asarray(nominal * np.exp(shape.coil_short)), DEAD_DB
            case "bypass":
                share = nominal / size
                return np.asarray(size * np.exp(shape.bare)), float(power_ratio_db(share))
            case "capacitor" | "all capacitor":
                ratio = np.exp(shape.with_capacitor(size) - shape.mean)
                loss = float(field_ratio_db(1.0 / np.abs(ratio[self.ear])))
                return np.asarray(healthy * ratio), min(loss, 0.0)
            case "tap":
                factor = plan.places[place].tap_w / size
            case "turned down":
                factor = size
            case "other voltage" | "all other voltage":
                factor = (size / plan.voltage_v) ** 2
            case _:
                factor = 1.0
        return np.asarray(healthy * factor), float(power_ratio_db(1.0 / factor))

    def _solve(self, cases: _Cases) -> TreeState:
        return solve_tree(self.plan.tree, run_ohm=cases.run_ohm, load_siemens=cases.load_s)

    def predict(
        self, suspects: Sequence[Suspect], looks: Sequence[Look], *, with_slope: bool = True
    ) -> Prediction:
        """Predict readings and levels under some suspicions.

        Parameters
        ----------
        suspects
            What may be wrong.
        looks
            What is read.
        with_slope
            Whether slopes are wanted; without them they are empty.

        Returns
        -------
        Prediction
            Means, slopes and levels.
        """
        cases = self._cases(suspects, with_slope=with_slope)
        state = self._solve(cases)
        size_sd = np.asarray([fault_kinds()[s.kind].size_sd for s in suspects])
        mean = np.zeros((len(suspects), len(looks)))
        n_slopes = self.n_state + 3 if with_slope else 0
        slope = np.zeros((len(suspects), len(looks), n_slopes))
        known = _Known()
        known.ask(looks, self.tones_hz)
        for m, look in enumerate(looks):
            mean[:, m] = self._look(
                look, state, cases, suspects, size_sd, known, slope[:, m] if with_slope else None
            )
            if with_slope and look.direction in {"whole", "out", "in", "alone"}:
                leads = self.limits["meter_lead_ohm"] / np.exp(mean[:, m])
                slope[:, m, -3] = np.minimum(leads, LEADS_MOST)
        excess = self._excess_db(state, cases)
        rack = np.abs(state.impedance_ohm[:, self.ear])
        healthy = rack[0] if suspects[0].kind == "none" else self.planned_rack_ohm
        return Prediction(mean=mean, slope=slope, excess_db=excess, rack_ratio=rack / healthy)

    def _look(
        self,
        look: Look,
        state: TreeState,
        cases: _Cases,
        suspects: Sequence[Suspect],
        size_sd: FloatArray,
        known: "_Known",
        rows: FloatArray | None,
    ) -> FloatArray:
        """Mean (n_cases,) of one look; its slopes go into ``rows`` (n_cases, n_nuisance)."""
        tone = self.tones_hz.index(look.tone_hz)
        if look.direction == "alone":
            ohm = np.minimum(np.abs(cases.alone_ohm[look.place, :, tone]), BREAK_OHM)
            if rows is not None:
                by_size = size_sd * cases.size_slope[:, tone].real
                self._fill_alone(rows, look.place, tone, suspects, by_size)
            return np.asarray(np.log(ohm))
        if look.direction == "in":
            at = look.place + 1
            if (at, tone) not in known.back:
                tones = known.back_tones[at]
                parts = self._look_back(cases, look.place, tones, with_slope=rows is not None)
                known.back |= {(at, t): found for t, found in zip(tones, parts, strict=True)}
            ohm, *both = known.back[at, tone]
            mean = np.log(np.clip(np.abs(ohm), 1e-9, BREAK_OHM))
        else:
            mean = self._mean(state, look, tone)
            both = []
        if rows is None or look.direction == "volts":
            # Volts hardly depend on what is unknown: their own error covers it.
            return np.asarray(mean)
        if not both:
            at = 0 if look.direction == "whole" else look.place + 1
            if (at, tone) not in known.out:
                tones = known.out_tones[at]
                some = _at_tones(state, tones)
                outward = (
                    _by_tone(some.load_sensitivity(at=at)[1:].astype(np.complex128)),
                    _by_tone(some.run_sensitivity(at=at)[1:].astype(np.complex128)),
                )
                for t, load_part, run_part in zip(tones, *outward, strict=True):
                    known.out[at, t] = (load_part, run_part)
            both = list(known.out[at, tone])
        loads, runs = both
        sign = -1.0 if look.direction == "amps" else 1.0
        # What hangs there strays; a short or an extra load beside it does not.
        wires = runs * cases.wire_share[tone]
        self._fill(rows, loads * cases.hung_share[tone], wires, tone, sign)
        moved = np.sum(loads * cases.load_share[tone] + runs * cases.run_share[tone], axis=1)
        rows[:, -2] = sign * moved.real * size_sd
        rows[:, -1] = sign * self.limits["meter_gain_sd"]
        return np.asarray(mean)

    def _look_back(
        self, cases: _Cases, place: int, tones: list[int], *, with_slope: bool
    ) -> list[tuple[ComplexArray, ...]]:
        """Impedance (n_cases,) back to the rack, and its sensitivities, tone by tone."""
        turned = self.plan.turned(place)
        load = cases.load_s[list(turned.old)][:, :, tones]
        load[0] = 0.0
        run = np.zeros_like(load)
        run[1:] = cases.run_ohm[[place + 1 for place in turned.run[1:]]][:, :, tones]
        state = solve_tree(turned.tree, run_ohm=run, load_siemens=load)
        ohm = state.impedance_ohm.astype(np.complex128)
        if not with_slope:
            return [(ohm[:, k],) for k in range(len(tones))]
        shape = (*cases.load_s.shape[:2], len(tones))
        loads = np.zeros(shape, dtype=np.complex128)
        runs = np.zeros(shape, dtype=np.complex128)
        loads[list(turned.old[1:])] = state.load_sensitivity()[1:]
        runs[[place + 1 for place in turned.run[1:]]] = state.run_sensitivity()[1:]
        both = zip(_by_tone(loads[1:]), _by_tone(runs[1:]), strict=True)
        return [(ohm[:, k], *pair) for k, pair in enumerate(both)]

    @staticmethod
    def _mean(state: TreeState, look: Look, tone: int) -> FloatArray:
        node = look.place + 1
        match look.direction:
            case "whole":
                value = 1.0 / state.outward_siemens[0, :, tone]
            case "out":
                value = 1.0 / state.outward_siemens[node, :, tone]
            case "volts":
                value = state.voltage_v[node, :, tone]
            case _:
                value = state.run_current_a[node, :, tone]
        return np.asarray(np.log(np.clip(np.abs(value), 1e-9, BREAK_OHM)))

    def _fill(
        self,
        rows: FloatArray,
        loads: ComplexArray,
        runs: ComplexArray,
        tone: int,
        sign: float,
    ) -> None:
        """Write slopes (n_cases, n_nuisance) of one look from sensitivities (n_cases, n_places)."""
        count, n_own = len(self.plan.places), len(self.own)
        n_patterns, n_common = self.patterns.shape[1], len(self.common)
        own = self.own[:, tone]
        turned = sign * loads
        # One direction of all pieces after the other: long rows, which numpy does quickest.
        for k in range(n_own):
            part = turned.real * own[k].real
            part -= turned.imag * own[k].imag
            rows[:, k * count : (k + 1) * count] = part
        patterned = loads @ self.patterns.astype(np.complex128)
        both = patterned[:, :, None] * self.common[:, tone]
        cut = count * n_own + n_patterns * n_common
        rows[:, count * n_own : cut] = sign * both.real.reshape(len(rows), -1)
        rows[:, cut : cut + count] = sign * runs.real * self.run_sd
        rows[:, cut + count] = sign * np.sum(runs.real, axis=1) * self.run_common_sd
        reactive = np.sum((runs * self.reactive_share[:, tone]).real, axis=1)
        rows[:, cut + count + 1] = sign * reactive * CABLE_H_SD

    def _fill_alone(
        self,
        rows: FloatArray,
        place: int,
        tone: int,
        suspects: Sequence[Suspect],
        size_sd: FloatArray,
    ) -> None:
        count, n_own = len(self.plan.places), len(self.own)
        n_patterns, n_common = self.patterns.shape[1], len(self.common)
        rows[:, place : count * n_own : count] = self.own[:, tone].real
        part = np.outer(self.patterns[place], self.common[:, tone].real)
        rows[:, count * n_own : count * n_own + n_patterns * n_common] = part.reshape(-1)
        for h, suspect in enumerate(suspects):
            if suspect.place == place and suspect.kind not in BESIDE:
                rows[h, -2] = size_sd[h]
        rows[:, -1] = self.limits["meter_gain_sd"]

    def _excess_db(self, state: TreeState, cases: _Cases) -> FloatArray:
        volts = np.abs(state.voltage_v[1:, :, self.ear])
        levels = field_ratio_db(np.maximum(volts, 1e-6)) + cases.gain_db
        return np.asarray(np.maximum(levels, DEAD_DB).T)


_HEALTHY: Final = Suspect(kind="none", place=-1, size=1.0, weight=1.0)


def touches(suspect: Suspect, place: int) -> bool:
    """Say whether a suspicion sits at a place or in the whole line."""
    return suspect.kind in WHOLE_LINE or suspect.place == place
