"""Which reading to take next: information about the place, per minute of work.

Information is the expected fall of uncertainty about *where* the fault is (mutual information
between place and reading), computed by quadrature over the likeliest suspicions. Minutes are what
a person needs: the walk with the ladder, setting it up, opening and closing the joint.
"""

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import ndtri

from soffit.circuit.arrays import FloatArray
from soffit.measure.evidence import HEARD, line_word_probability, noise_matrix, word_probability
from soffit.measure.line_plan import LinePlan
from soffit.measure.posterior import Posterior, coordinates, predict_sized, sized
from soffit.measure.predict import LineModel, Look
from soffit.measure.suspects import Suspect

TestKind = Literal["rack", "walk", "listen", "joint", "clamp", "volts"]
Instrument = Literal["clamp", "volts"]
"""What may be in the bag beside ears and an impedance meter."""

LIKELY_SHARE: Final = 0.995
LIKELY_MOST: Final = 90
CANDIDATES_MOST: Final = 40
LISTEN_MOST: Final = 2
"""How often it helps to listen under the same loudspeaker: one more than the first, for lapses."""
TONE_DRIVE: Final = 0.1
"""Tone on the line for clamp and volts: 20 dB under the line's voltage (common practice)."""
NATS_PER_BIT: Final = math.log(2.0)
BLOCK: Final = 16
LEAST_LN: Final = -650.0
"""True suspicions weighed in one go, so that arrays stay small; a log probability that is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One thing to do next.

    Parameters
    ----------
    kind
        ``rack`` reading, ``walk`` along the whole line with noise on it, ``listen`` under one
        loudspeaker, open a ``joint`` and read away from the amplifier and the piece alone, or
        with a tone on the line a ``clamp`` on one core or ``volts`` at a loudspeaker.
    place
        Index of the place; -1 for rack and walk.
    seconds_s
        Work it takes from where the person is. [s]
    bits
        Information about the place that it gives on average.
    looks
        What the meter reads.
    """

    kind: TestKind
    place: int
    seconds_s: float
    bits: float
    looks: tuple[Look, ...] = ()

    __test__ = False

    @property
    def bits_per_minute(self) -> float:
        """Information per minute of work."""
        return 60.0 * self.bits / max(self.seconds_s, 1.0)


def distance_m(plan: LinePlan, start: int, end: int) -> float:
    """Way on the floor between two places, the cable's way if positions are unknown. [m].

    Parameters
    ----------
    plan
        The line.
    start, end
        Indices; -1 is the rack.
    """
    if start == end:
        return 0.0
    reach = plan.reach_m
    if start >= 0 and end >= 0:
        one, two = plan.places[start].position, plan.places[end].position
        if one is not None and two is not None:
            return abs(one[0] - two[0]) + abs(one[1] - two[1])
        shared = set(plan.tree.path(start + 1)) & set(plan.tree.path(end + 1))
        fork = max((float(reach[n - 1]) if n > 0 else 0.0) for n in shared)
        return float(reach[start] + reach[end] - 2.0 * fork)
    return float(reach[max(start, end)])


def seconds_of(
    plan: LinePlan,
    kind: TestKind,
    place: int,
    here: int,
    limits: Mapping[str, float],
    *,
    is_noise_on: bool = False,
) -> float:
    """Work that a test takes from where the person is. [s].

    Parameters
    ----------
    plan
        The line.
    kind, place
        What is done where.
    here
        Where the person is; -1 is the rack.
    limits
        Settings by name.
    is_noise_on
        Whether noise is on the line already.
    """
    start = 0.0 if is_noise_on else limits["walk_start_s"]
    way = distance_m(plan, here, place) / limits["walk_speed_m_s"]
    match kind:
        case "rack":
            return way + limits["rack_reading_s"]
        case "walk":
            floor = float(np.sum(plan.length_m[1:])) / (2.0 * limits["walk_speed_m_s"])
            return start + floor + limits["listen_s"] * len(plan.speakers)
        case "listen":
            return start + way / 2.0 + limits["listen_s"]
        case "clamp" | "volts":
            return start + way + limits["ladder_s"] + limits[_HANDLING[kind]]
        case _:
            return way + limits["ladder_s"] + limits["open_joint_s"]


_HANDLING: Final[Mapping[str, str]] = {"clamp": "clamp_s", "volts": "probe_s"}


def clamp_tone_hz(limits: Mapping[str, float]) -> float:
    """Return the tone for a clamp: 1 kHz where its band allows, else the top of its band. [Hz].

    Parameters
    ----------
    limits
        Settings by name.
    """
    return min(max(1000.0, limits["clamp_low_hz"]), limits["clamp_high_hz"])


def live_looks(
    plan: LinePlan, instruments: Collection[Instrument], limits: Mapping[str, float]
) -> tuple[Look, ...]:
    """Return what a clamp and a voltmeter may read at loudspeakers with a tone on the line.

    Parameters
    ----------
    plan
        The line.
    instruments
        What is in the bag.
    limits
        Settings by name.
    """
    tone = clamp_tone_hz(limits)
    looks = [
        Look(direction="amps", place=i, tone_hz=tone)
        for i in plan.speakers
        if "clamp" in instruments
    ]
    looks += [
        Look(direction="volts", place=i, tone_hz=1000.0)
        for i in plan.speakers
        if "volts" in instruments
    ]
    return tuple(looks)


def least_clamp_a(limits: Mapping[str, float]) -> float:
    """Return the least current that a clamp is asked for: over its floor, ten last digits. [A].

    Parameters
    ----------
    limits
        Settings by name.
    """
    return max(limits["clamp_least_a"], 10.0 * limits["clamp_resolution_a"])


def readable(
    model: LineModel, looks: Sequence[Look], *, drive_v: float
) -> tuple[tuple[Look, ...], dict[int, float]]:
    """Keep the looks that the instruments can resolve on a sound line at a drive.

    Parameters
    ----------
    model
        The line with what is known about it.
    looks
        Live looks.
    drive_v
        Line voltage with the tone on it. [V]

    Returns
    -------
    tuple
        Looks that can be read, and the current that is too small at each other place. [A]
    """
    if not looks:
        return (), {}
    healthy = Suspect(kind="none", place=-1, size=1.0, weight=1.0)
    means = model.predict([healthy], looks, with_slope=False).mean[0]
    least = least_clamp_a(model.limits)
    kept: list[Look] = []
    small: dict[int, float] = {}
    for look, mean in zip(looks, means, strict=True):
        value = drive_v * math.exp(float(mean))
        if look.direction == "amps" and value < least:
            small[look.place] = value
        else:
            kept.append(look)
    return tuple(kept), small


def joint_looks(plan: LinePlan, place: int, tones_hz: Sequence[float]) -> tuple[Look, ...]:
    """Return what is read at an opened joint: both ways, and the piece alone.

    Parameters
    ----------
    plan
        The line.
    place
        The joint.
    tones_hz
        Tones of the meter. [Hz]
    """
    looks = [Look(direction="out", place=place, tone_hz=t) for t in tones_hz]
    looks += [Look(direction="in", place=place, tone_hz=t) for t in tones_hz]
    if plan.places[place].tap_w > 0.0:
        looks += [Look(direction="alone", place=place, tone_hz=t) for t in tones_hz]
    return tuple(looks)


def information_bits(posterior: Posterior, looks: Sequence[Look]) -> float:
    """Return the expected information about the place from some looks. [bit].

    Parameters
    ----------
    posterior
        What is known.
    looks
        What would be read.

    Returns
    -------
    float
        Mutual information between place and readings, zero or more.
    """
    if not looks:
        return 0.0
    top = posterior.top(LIKELY_SHARE, most=LIKELY_MOST)
    return _information(posterior, top, looks, [tuple(range(len(looks)))])[0]


def _information(
    posterior: Posterior,
    top: Sequence[int],
    looks: Sequence[Look],
    groups: Sequence[tuple[int, ...]],
) -> list[float]:
    """Information of each group of looks, all predicted together."""
    suspects = [posterior.suspects[i] for i in top]
    weight = posterior.probability[list(top)]
    weight = weight / np.sum(weight)
    places = np.asarray([s.place for s in suspects])
    return [
        _mutual(weight, places, mean, cov)
        for mean, cov in _given_past(posterior, top, looks, groups)
    ]


def _given_past(
    posterior: Posterior,
    top: Sequence[int],
    looks: Sequence[Look],
    groups: Sequence[tuple[int, ...]],
) -> list[tuple[FloatArray, FloatArray]]:
    """Mean and covariance of each group of new readings, given those that were taken."""
    model, limits = posterior.model, posterior.model.limits
    past = [item for item in posterior.evidence.shown if item.bound == "="]
    n_past = len(past)
    suspects = [posterior.suspects[i] for i in top]
    delta = posterior.delta[list(top)]
    prediction = predict_sized(model, suspects, delta, [*[item.look for item in past], *looks])
    is_logged = bool(posterior.evidence.log)
    noise = noise_matrix(
        [item.look for item in past],
        limits,
        ohm=[item.value for item in past],
        is_logged=is_logged,
    )
    axes = coordinates(model, prediction.slope)
    old, fresh = axes[:, :n_past], axes[:, n_past:]
    mean = prediction.mean[:, n_past:]
    pull = np.zeros((len(suspects), len(looks), n_past))
    if n_past:
        inner = old @ np.swapaxes(old, 1, 2)
        inner = inner + noise
        cross = old @ np.swapaxes(fresh, 1, 2)
        pull = np.swapaxes(np.linalg.solve(inner, cross), 1, 2)
        seen = np.log([item.value for item in past])
        mean = mean + (pull @ (seen - prediction.mean[:, :n_past])[..., None])[..., 0]
    found = []
    for group in map(list, groups):
        mine = fresh[:, group]
        cov = mine @ np.swapaxes(mine, 1, 2)
        cov = cov + noise_matrix([looks[m] for m in group], limits, is_logged=is_logged)
        if n_past:
            cov = cov - pull[:, group] @ (old @ np.swapaxes(mine, 1, 2))
        found.append((mean[:, group], cov))
    return found


def _points(dimension: int) -> FloatArray:
    """Equal-weight standard normal points (n_points, dimension), the same every time."""
    if dimension == 1:
        # Midpoints of 15 equally likely slices.
        return np.asarray(ndtri((np.arange(15) + 0.5) / 15.0))[:, None]
    rng = np.random.default_rng(7_919 * dimension)
    half = rng.standard_normal((12, dimension))
    return np.concatenate([half, -half])


def _mutual(weight: FloatArray, places: FloatArray, mean: FloatArray, cov: FloatArray) -> float:
    """Mutual information of place and a Gaussian reading, in bits."""
    dimension = mean.shape[1]
    lower = np.linalg.cholesky(cov + 1e-12 * np.eye(dimension))
    points = _points(dimension)
    centred = mean - np.mean(mean, axis=0)
    drawn = centred[:, None, :] + points @ np.swapaxes(lower, 1, 2)
    inverse = np.linalg.inv(lower)
    half_log_det = np.sum(np.log(np.diagonal(lower, axis1=1, axis2=2)), axis=1)
    level = np.log(weight) - half_log_det
    same = (places[:, None] == places[None, :]).astype(np.float64)
    gained = np.zeros(len(mean))
    for start in range(0, len(mean), BLOCK):
        part = slice(start, start + BLOCK)
        flat = drawn[part].reshape(-1, dimension)
        density = np.zeros((len(flat), len(mean)))
        for row in range(dimension):
            white = flat @ inverse[:, row].T
            white -= np.sum(inverse[:, row] * centred, axis=1)
            density -= np.square(white, out=white)
        density *= 0.5
        density += level
        gained[part] = _place_gain(density.reshape(-1, len(points), len(mean)), same[part])
    return _in_bits(weight, same, gained)


def _place_gain(joint: FloatArray, same: FloatArray) -> FloatArray:
    """Mean log probability (n_true,) of the true place; ``joint`` is spoiled.

    Log joint densities (n_true, n_points, n_suspects) of points that are equally likely.
    """
    joint -= np.max(joint, axis=2, keepdims=True)
    np.exp(np.maximum(joint, LEAST_LN, out=joint), out=joint)
    total = np.log(np.sum(joint, axis=2))
    return np.asarray(np.mean(np.log((joint @ same[:, :, None])[..., 0]) - total, axis=1))


def _in_bits(weight: FloatArray, same: FloatArray, gained: FloatArray) -> float:
    """Information in bits from the mean log probability of each true place."""
    return max(float(np.sum(weight * (gained - np.log(same @ weight)))) / NATS_PER_BIT, 0.0)


def _walk_bits(posterior: Posterior, top: Sequence[int], listened: set[int]) -> dict[int, float]:
    """Information of a whole walk (key -1) and of listening under each place."""
    suspects = [posterior.suspects[i] for i in top]
    weight = posterior.probability[list(top)]
    weight = weight / np.sum(weight)
    places = np.asarray([s.place for s in suspects])
    model = posterior.model
    prediction = model.predict(sized(suspects, posterior.delta[list(top)]), [])
    table = word_probability(prediction.excess_db, posterior.plan, model.limits)
    lives = 1.0 - line_word_probability(
        prediction.excess_db, prediction.rack_ratio, "silent", posterior.plan, model.limits
    )
    silent = np.zeros(len(HEARD))
    silent[HEARD.index("silent")] = 1.0
    # An amplifier that gives up makes everything silent.
    table = lives[:, None, None] * table + (1.0 - lives)[:, None, None] * silent
    table = np.maximum(table, 1e-4)
    found: dict[int, float] = {}
    for place in posterior.plan.speakers:
        if place not in listened:
            found[place] = _word_information(weight, places, table[:, place])
    rng = np.random.default_rng(4_211)
    fresh = [i for i in posterior.plan.speakers if i not in listened]
    if fresh:
        log_table = np.log(table[:, fresh])
        edges = np.cumsum(table[:, fresh], axis=2) / np.sum(table[:, fresh], axis=2, keepdims=True)
        chance = rng.random((len(suspects), 6, len(fresh)))
        words = np.sum(chance[..., None] > edges[:, None], axis=3).clip(0, len(HEARD) - 1)
        density = np.zeros((len(suspects), 6, len(suspects)))
        for word in range(len(HEARD)):
            density += (words == word).astype(np.float64) @ log_table[:, :, word].T
        same = (places[:, None] == places[None, :]).astype(np.float64)
        found[-1] = _in_bits(weight, same, _place_gain(density + np.log(weight), same))
    return found


def _word_information(weight: FloatArray, places: FloatArray, table: FloatArray) -> float:
    """Information of one judgement with word probabilities (n_suspects, n_words)."""
    whole = weight @ table
    by_place = 0.0
    for place in np.unique(places):
        mine = places == place
        share = float(np.sum(weight[mine]))
        words = (weight[mine] @ table[mine]) / share
        by_place += share * float(np.sum(words * np.log(words)))
    return max((by_place - float(np.sum(whole * np.log(whole)))) / NATS_PER_BIT, 0.0)


def _candidates(posterior: Posterior, top: Sequence[int]) -> list[int]:
    """Places where opening a joint may tell something, evenly over what is still likely."""
    n_places = len(posterior.plan.places)
    weight = np.zeros(n_places)
    for i in top:
        if posterior.suspects[i].place >= 0:
            weight[posterior.suspects[i].place] += posterior.probability[i]
    if n_places <= CANDIDATES_MOST:
        return list(range(n_places))
    likeliest = np.argsort(-weight, kind="stable")[: CANDIDATES_MOST // 4]
    mass = np.cumsum(weight + 1e-3 / n_places)
    steps = np.linspace(0.0, 1.0, CANDIDATES_MOST - len(likeliest)) * mass[-1]
    spread = np.searchsorted(mass, steps).clip(0, n_places - 1)
    return sorted({int(i) for i in (*likeliest, *spread)})


def next_tests(
    posterior: Posterior,
    *,
    here: int,
    tones_hz: Sequence[float],
    can_listen: bool = True,
    is_noise_on: bool = False,
    instruments: Collection[Instrument] = (),
) -> tuple[Test, ...]:
    """Rank what to do next, best first.

    Parameters
    ----------
    posterior
        What is known.
    here
        Where the person is; -1 is the rack.
    tones_hz
        Tones of the meter in hand; 1 kHz only by default. [Hz]
    can_listen
        Whether noise may be put on the line now.
    is_noise_on
        Whether it is on already.
    instruments
        What is in the bag beside an impedance meter; used where noise may be put on the line.

    Returns
    -------
    tuple of Test
        By information per minute, falling.
    """
    plan, limits = posterior.plan, posterior.model.limits
    top = posterior.top(LIKELY_SHARE, most=LIKELY_MOST)
    done = {item.look for item in posterior.evidence.shown}
    places = _candidates(posterior, top)
    # One tone, the one nearest to 1 kHz, stands for all: the others cost no minute and tell a
    # little more, so that the ranking stays and the answer comes at once.
    usual = min(tones_hz, key=lambda tone: abs(math.log2(tone / 1000.0)))
    asked: list[Look] = []
    groups: list[tuple[int, ...]] = []
    found: list[tuple[TestKind, int, tuple[Look, ...]]] = []
    rack = tuple(Look(direction="whole", place=-1, tone_hz=t) for t in tones_hz)
    wanted: list[tuple[TestKind, int, tuple[Look, ...]]] = [("rack", -1, rack)]
    wanted += [("joint", i, joint_looks(plan, i, tones_hz)) for i in places]
    if instruments and can_listen:
        drive_v = plan.voltage_v * TONE_DRIVE
        live, _ = readable(posterior.model, live_looks(plan, instruments, limits), drive_v=drive_v)
        near = set(places)
        wanted += [
            ("clamp" if look.direction == "amps" else "volts", look.place, (look,))
            for look in live
            if look.place in near
        ]
    for kind, place, looks in wanted:
        new = tuple(look for look in looks if look not in done)
        some = [look for look in new if look.tone_hz == usual] or list(new[:1])
        if new:
            groups.append(tuple(range(len(asked), len(asked) + len(some))))
            asked += some
            found.append((kind, place, new))
    bits = _information(posterior, top, asked, groups) if asked else []
    tests = [
        Test(
            kind=kind,
            place=place,
            seconds_s=seconds_of(plan, kind, place, here, limits, is_noise_on=is_noise_on),
            bits=bit,
            looks=new,
        )
        for (kind, place, new), bit in zip(found, bits, strict=True)
    ]
    if can_listen:
        times = Counter(item.place for item in posterior.evidence.listened if item.word)
        heard = {place for place, count in times.items() if count >= LISTEN_MOST}
        for place, bit in _walk_bits(posterior, top, heard).items():
            ear: TestKind = "walk" if place < 0 else "listen"
            seconds = seconds_of(plan, ear, place, here, limits, is_noise_on=is_noise_on)
            tests.append(Test(kind=ear, place=place, seconds_s=seconds, bits=bit))
    return tuple(sorted(tests, key=lambda t: (-t.bits_per_minute, t.kind, t.place)))
