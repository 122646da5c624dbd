"""What is probably wrong, given all readings: a posterior over suspicions and places.

Readings of instruments are compared in ln with a multivariate t distribution (Gaussian covariance
from the exact sensitivities, few degrees of freedom), because the model of a line is never quite
right and a Gaussian would be too sure of itself. One suspicion stands for everything that is not
on the list; when it wins, soffit names nothing.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import fdtrc, ndtr

from soffit.circuit.arrays import FloatArray
from soffit.measure.evidence import Evidence, Listened, Shown, ear_log_likelihood, noise_matrix
from soffit.measure.line_plan import LinePlan
from soffit.measure.predict import LineModel, Look, Prediction
from soffit.measure.suspects import Suspect, fault_kinds, suspects_of

FREEDOM: Final = 8.0
"""Degrees of freedom of the t distribution; 8 keeps 95 % intervals 15 % wider than a Gaussian."""
SIZE_COLUMN: Final = -2
SIZES_MOST: Final = 2.0
"""Column of the slope that belongs to the size, and how far a size is moved."""
CHUNK: Final = 48
KEEP_NATS: Final = 14.0
KEEP_LEAST: Final = 160
NEAR_NATS: Final = 7.0
"""Suspicions farther from the best than this are dropped, and not refined."""
OTHER_COMMON_SD: Final = 1.3
OTHER_OWN_SD: Final = 0.35


@dataclass(frozen=True)
class Posterior:
    """Suspicions with their probability.

    Parameters
    ----------
    plan
        The line.
    suspects
        All suspicions.
    probability : (n_suspects,)
        Probability of each; with ``other`` they add up to 1.
    other
        Probability of something that is not on the list.
    misfit
        Probability that the best suspicion would fit worse than it does; small is bad.
    evidence
        What it rests on.
    model
        The line with what is known about it.
    delta : (n_suspects,)
        Size at which each was solved, in standard deviations of ln(size).
    """

    plan: LinePlan
    suspects: tuple[Suspect, ...]
    probability: FloatArray
    other: float
    misfit: float
    evidence: Evidence
    model: LineModel
    delta: FloatArray

    def by_place(self) -> dict[int, float]:
        """Return the probability of each place, the most probable first; -1 is the whole line."""
        sums: dict[int, float] = {}
        for suspect, share in zip(self.suspects, self.probability, strict=True):
            sums[suspect.place] = sums.get(suspect.place, 0.0) + float(share)
        return dict(sorted(sums.items(), key=lambda item: (-item[1], item[0])))

    def kinds_at(self, place: int) -> dict[str, float]:
        """Return the probability of each kind at one place, the most probable first."""
        sums: dict[str, float] = {}
        for suspect, share in zip(self.suspects, self.probability, strict=True):
            if suspect.place == place:
                sums[suspect.kind] = sums.get(suspect.kind, 0.0) + float(share)
        return dict(sorted(sums.items(), key=lambda item: (-item[1], item[0])))

    def by_kind(self) -> dict[str, float]:
        """Return the probability of each kind anywhere, the most probable first."""
        sums: dict[str, float] = {}
        for suspect, share in zip(self.suspects, self.probability, strict=True):
            sums[suspect.kind] = sums.get(suspect.kind, 0.0) + float(share)
        return dict(sorted(sums.items(), key=lambda item: (-item[1], item[0])))

    def top(self, share: float, *, most: int) -> tuple[int, ...]:
        """Return indices of the likeliest suspicions that together hold a share."""
        order = np.argsort(-self.probability, kind="stable")
        mass = np.cumsum(self.probability[order]) / max(float(np.sum(self.probability)), 1e-300)
        count = int(np.searchsorted(mass, share)) + 1
        return tuple(int(i) for i in order[: min(count, most)])


def line_model(
    plan: LinePlan,
    evidence: Evidence,
    limits: Mapping[str, float],
    tones_hz: Sequence[float] = (),
) -> LineModel:
    """Set the model of a line up and teach it the hand-over log.

    Parameters
    ----------
    plan
        The line.
    evidence
        Readings; their tones and the log are used.
    limits
        Settings by name.
    tones_hz
        Further tones that will be asked for. [Hz]

    Returns
    -------
    LineModel
        Model that knows what the log says.
    """
    model = LineModel(plan, [*evidence.tones_hz, *tones_hz], limits)
    exact = [item for item in evidence.log if item.bound == "="]
    if exact:
        values = np.log([item.value for item in exact])
        looks = [item.look for item in exact]
        model.learn(looks, values, noise_matrix(looks, limits))
    return model


def coordinates(model: LineModel, slope: FloatArray) -> FloatArray:
    """Slopes (n_suspects, n_looks, n) along independent standard normal unknowns.

    Parameters
    ----------
    model
        The line with what is known about it.
    slope : (n_suspects, n_looks, n_nuisance)
        Slopes of a prediction.
    """
    if model.state_factor is None:
        return slope
    n_suspects, n_looks, n_all = slope.shape
    flat = slope.reshape(-1, n_all)
    known = flat[:, : model.n_state] @ model.state_factor
    both = np.concatenate([known, flat[:, model.n_state :]], axis=1)
    return both.reshape(n_suspects, n_looks, -1)


def covariance(model: LineModel, slope: FloatArray, noise: FloatArray) -> FloatArray:
    """Covariance (n_suspects, n_looks, n_looks) of ln readings.

    Parameters
    ----------
    model
        The line with what is known about it.
    slope : (n_suspects, n_looks, n_nuisance)
        Slopes of a prediction.
    noise : (n_looks, n_looks)
        What no unknown of the line explains.
    """
    state = coordinates(model, slope)
    both = state @ np.swapaxes(state, 1, 2)
    return np.asarray(both + noise)


def _student(residual: FloatArray, cov: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log density of a multivariate t, and the squared distance, (n,) each."""
    count = residual.shape[1]
    lower = np.linalg.cholesky(cov)
    white = np.linalg.solve(lower, residual[..., None])[..., 0]
    distance = np.sum(white**2, axis=1)
    half_log_det = np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2)), axis=1)
    constant = (
        math.lgamma((FREEDOM + count) / 2.0)
        - math.lgamma(FREEDOM / 2.0)
        - 0.5 * count * math.log(FREEDOM * math.pi)
    )
    density = constant - half_log_det - 0.5 * (FREEDOM + count) * np.log1p(distance / FREEDOM)
    return density, distance


def _censored(
    prediction: Prediction, cov_diagonal: FloatArray, shown: Sequence[Shown]
) -> FloatArray:
    """Log probability (n_suspects,) that readings are beyond the range of the instrument."""
    total = np.zeros(len(prediction.mean))
    for m, item in enumerate(shown):
        if item.bound == "=":
            continue
        sd = np.sqrt(cov_diagonal[:, m])
        z = (prediction.mean[:, m] - math.log(item.value)) / sd
        share = ndtr(z if item.bound == ">" else -z)
        total += np.log(0.995 * share + 0.0025)
    return total


def _noise(evidence: Evidence, model: LineModel) -> FloatArray:
    return noise_matrix(
        [item.look for item in evidence.shown],
        model.limits,
        ohm=[item.value for item in evidence.shown],
        is_logged=bool(evidence.log),
    )


def sized(suspects: Sequence[Suspect], delta: FloatArray) -> tuple[Suspect, ...]:
    """Return suspicions at moved sizes.

    Parameters
    ----------
    suspects
        Suspicions at the sizes of the table.
    delta : (n_suspects,)
        Move of each, in standard deviations of ln(size).
    """
    kinds = fault_kinds()
    return tuple(
        replace(s, size=s.size * math.exp(kinds[s.kind].size_sd * d)) if d else s
        for s, d in zip(suspects, delta.tolist(), strict=True)
    )


def predict_sized(
    model: LineModel, suspects: Sequence[Suspect], delta: FloatArray, looks: Sequence[Look]
) -> Prediction:
    """Predict with the circuit solved at moved sizes, for sizes spread around the table's.

    Parameters
    ----------
    model
        The line with what is known about it.
    suspects
        Suspicions at the sizes of the table.
    delta : (n_suspects,)
        Where each is solved, in standard deviations of ln(size).
    looks
        What is read.

    Notes
    -----
    One step of an iterated linearisation: a short of 0.15 and of 2 ohm bends ln|Z| differently,
    and a slope taken at one is wrong at the other.
    """
    prediction = model.predict(sized(suspects, delta), looks)
    if not looks:
        return prediction
    back = prediction.slope[..., SIZE_COLUMN] * delta[:, None]
    return replace(prediction, mean=prediction.mean - back)


@dataclass(frozen=True, slots=True)
class _Weighed:
    """Suspicions against the evidence: log likelihood, distance, and sizes that fit best."""

    log_likelihood: FloatArray
    distance: FloatArray
    delta: FloatArray


def _weigh(
    model: LineModel, suspects: Sequence[Suspect], evidence: Evidence, delta: FloatArray
) -> _Weighed:
    """Weigh suspicions, their circuits solved at moved sizes."""
    shown = evidence.shown
    own = _noise(evidence, model)
    prediction = predict_sized(model, suspects, delta, [item.look for item in shown])
    total = ear_log_likelihood(
        prediction.excess_db,
        prediction.rack_ratio,
        evidence.listened,
        model.plan,
        model.limits,
    )
    distance = np.zeros(len(suspects))
    best = np.zeros(len(suspects))
    if not shown:
        return _Weighed(total, distance, best)
    cov = covariance(model, prediction.slope, own)
    exact = [m for m, item in enumerate(shown) if item.bound == "="]
    if exact:
        off = np.log([shown[m].value for m in exact]) - prediction.mean[:, exact]
        inner = cov[:, exact][:, :, exact]
        density, distance = _student(off, inner)
        total = total + density
        by_size = prediction.slope[:, exact, SIZE_COLUMN]
        pull = np.linalg.solve(inner, off[..., None])[..., 0]
        best = np.clip(np.sum(by_size * pull, axis=1), -SIZES_MOST, SIZES_MOST)
    total = total + _censored(prediction, np.diagonal(cov, axis1=1, axis2=2), shown)
    has_size = np.asarray([bool(fault_kinds()[s.kind].sizes) for s in suspects])
    return _Weighed(total, distance, np.where(has_size, best, 0.0))


def _other_log_likelihood(model: LineModel, evidence: Evidence) -> float:
    """Log likelihood of the evidence if nobody knows what is wrong."""
    healthy = [Suspect(kind="none", place=-1, size=1.0, weight=1.0)]
    total = 0.0
    shown = [item for item in evidence.shown if item.bound == "="]
    total += math.log(0.25) * sum(item.bound != "=" for item in evidence.shown)
    if shown:
        prediction = model.predict(healthy, [item.look for item in shown])
        places = [(item.look.direction, item.look.place) for item in shown]
        same = np.asarray([[a == b for b in places] for a in places], dtype=np.float64)
        cov = OTHER_COMMON_SD**2 * same + np.eye(len(shown)) * OTHER_OWN_SD**2
        seen = np.log([item.value for item in shown])
        density, _ = _student(seen[None, :] - prediction.mean, cov[None])
        total += float(density[0])
    total += _other_ears(evidence.listened)
    return total


def _other_ears(listened: Sequence[Listened]) -> float:
    chance = {
        "heard": 0.85,
        "silent": 0.05,
        "loud": 0.05,
        "faint": 0.05,
        "distorted": 0.05,
        "": 0.2,
    }
    return sum(math.log(chance[item.word]) for item in listened)


def judge(
    plan: LinePlan,
    evidence: Evidence,
    limits: Mapping[str, float],
    *,
    model: LineModel | None = None,
    suspects: Sequence[Suspect] | None = None,
) -> Posterior:
    """Weigh all suspicions against all readings.

    Parameters
    ----------
    plan
        The line.
    evidence
        Readings.
    limits
        Settings by name.
    model
        Model of the line, if it was set up already.
    suspects
        Suspicions; all that the plan allows by default.

    Returns
    -------
    Posterior
        Probability of each suspicion.
    """
    model = model or line_model(plan, evidence, limits)
    listed = tuple(
        suspects if suspects is not None else suspects_of(plan, is_logged=bool(evidence.log))
    )
    listed = tuple(s for s in listed if s.place < 0 or s.place not in evidence.sound)
    prior = np.log([s.weight for s in listed])
    order = _shortlist(model, listed, evidence, prior)
    total = np.full(len(listed), -np.inf)
    distance = np.full(len(listed), np.inf)
    delta = np.zeros(len(listed))
    moved = np.zeros(len(listed))
    for part in _chunks(order):
        first = _weigh(model, [listed[i] for i in part], evidence, np.zeros(len(part)))
        total[part] = first.log_likelihood + prior[part]
        distance[part], moved[part] = first.distance, first.delta
    near = total >= np.max(total) - NEAR_NATS
    for part in _chunks([i for i in order if near[i] and moved[i]]):
        again = _weigh(model, [listed[i] for i in part], evidence, moved[part])
        total[part] = again.log_likelihood + prior[part]
        distance[part], delta[part] = again.distance, moved[part]
    other = _other_log_likelihood(model, evidence) + math.log(limits["trace_other_weight"])
    highest = max(float(np.max(total)), other)
    weights = np.exp(total - highest)
    other_weight = math.exp(other - highest)
    whole = float(np.sum(weights)) + other_weight
    best = int(np.argmax(total))
    n_exact = sum(item.bound == "=" for item in evidence.shown)
    return Posterior(
        plan=plan,
        suspects=listed,
        probability=weights / whole,
        other=other_weight / whole,
        misfit=_tail(float(distance[best]), n_exact),
        evidence=evidence,
        model=model,
        delta=delta,
    )


def _chunks(indices: Sequence[int]) -> list[list[int]]:
    """Split indices so that the arrays of one piece stay small."""
    return [list(indices[start : start + CHUNK]) for start in range(0, len(indices), CHUNK)]


def _tail(distance: float, count: int) -> float:
    """Probability that a fitting line would lie farther from its readings."""
    if count == 0:
        return 1.0
    return float(fdtrc(count, FREEDOM, distance / count))


def _shortlist(
    model: LineModel, suspects: Sequence[Suspect], evidence: Evidence, prior: FloatArray
) -> list[int]:
    """Order suspicions by a cheap likelihood; drop those without a chance."""
    if len(suspects) <= KEEP_LEAST or not (evidence.shown or evidence.listened):
        return list(range(len(suspects)))
    looks = [item.look for item in evidence.shown]
    own = _noise(evidence, model)
    rough = prior.copy()
    healthy = model.predict(suspects[:1], looks)
    cov = covariance(model, healthy.slope, own) if looks else np.zeros((1, 0, 0))
    exact = [m for m, item in enumerate(evidence.shown) if item.bound == "="]
    for start in range(0, len(suspects), CHUNK):
        part = slice(start, start + CHUNK)
        prediction = model.predict(suspects[part], looks, with_slope=False)
        rough[part] += ear_log_likelihood(
            prediction.excess_db,
            prediction.rack_ratio,
            evidence.listened,
            model.plan,
            model.limits,
        )
        if exact:
            seen = np.log([evidence.shown[m].value for m in exact])
            # Twice the healthy spread and a size of a fault that may lie between two steps.
            wide = 4.0 * cov[0][np.ix_(exact, exact)] + 0.06
            density, _ = _student(
                seen - prediction.mean[:, exact],
                np.broadcast_to(wide, (len(prediction.mean), len(exact), len(exact))),
            )
            rough[part] += density
    order = np.argsort(-rough, kind="stable")
    limit = rough[order[0]] - KEEP_NATS
    kept = [int(i) for i in order if rough[i] >= limit]
    if len(kept) < KEEP_LEAST:
        kept = [int(i) for i in order[:KEEP_LEAST]]
    return sorted(kept)
