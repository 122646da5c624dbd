"""Readings predicted by folding the tree, against a dense nodal solution written here."""

import numpy as np
import pytest

from soffit.measure.line_plan import LinePlan, Place
from soffit.measure.predict import CABLE_F_M, LineModel, Look
from soffit.measure.suspects import Suspect
from soffit.tables.settings import DEFAULT_LIMITS

TONE = 1000.0
HEALTHY = Suspect(kind="none", place=-1, size=1.0, weight=1.0)


def random_plan(seed: int, count: int) -> LinePlan:
    rng = np.random.default_rng(seed)
    return LinePlan(
        key="l1",
        label="L1",
        voltage_v=100.0,
        places=tuple(
            Place(
                key=f"s{i}",
                label=f"L1-{i + 1:02d}",
                parent=int(rng.integers(-1, i)) if i else -1,
                length_m=float(rng.uniform(3.0, 40.0)),
                wire_ohm_m=0.013,
                tap_w=float(rng.choice([2.0, 5.0, 10.0])) if i != 1 else 0.0,
            )
            for i in range(count)
        ),
    )


def nodal_ohm(model: LineModel, *, node: int, removed: int | None, short: tuple[int, float] | None):
    plan = model.plan
    tone = model.tones_hz.index(TONE)
    count = len(plan.places)
    matrix = np.zeros((count + 1, count + 1), dtype=complex)
    for i, place in enumerate(plan.places):
        near, far = place.parent + 1, i + 1
        half = 0.5j * 2.0 * np.pi * TONE * CABLE_F_M * place.length_m
        matrix[near, near] += half
        matrix[far, far] += half
        if i != removed:
            y = 1.0 / model.run_ohm[i, tone]
            matrix[near, near] += y
            matrix[far, far] += y
            matrix[near, far] -= y
            matrix[far, near] -= y
        if place.tap_w > 0.0:
            matrix[far, far] += 1.0 / model.speaker_ohm[i, tone]
    if short is not None:
        matrix[short[0] + 1, short[0] + 1] += 1.0 / short[1]
    keep = [k for k in range(count + 1) if abs(matrix[k, k]) > 0.0]
    source = np.zeros(count + 1, dtype=complex)
    source[node] = 1.0
    return np.linalg.solve(matrix[np.ix_(keep, keep)], source[keep])[keep.index(node)]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("short", [None, (2, 0.8)])
def test_whole_out_and_in_agree(seed: int, short: tuple[int, float] | None) -> None:
    plan = random_plan(seed, 8)
    model = LineModel(plan, [TONE], DEFAULT_LIMITS)
    suspect = HEALTHY if short is None else Suspect(kind="short", place=2, size=0.8, weight=1.0)
    looks = [Look(direction="whole", place=-1, tone_hz=TONE)]
    looks += [Look(direction="out", place=i, tone_hz=TONE) for i in range(8)]
    found = np.exp(model.predict([suspect], looks, with_slope=False).mean[0])
    wanted = [nodal_ohm(model, node=0, removed=None, short=short)]
    wanted += [nodal_ohm(model, node=i + 1, removed=i, short=short) for i in range(8)]
    finite = [min(abs(z), 1e7) for z in wanted]
    np.testing.assert_allclose(found, finite, rtol=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_looking_back_agrees(seed: int) -> None:
    plan = random_plan(seed, 8)
    model = LineModel(plan, [TONE], DEFAULT_LIMITS)
    tone = model.tones_hz.index(TONE)
    for i in range(2, 8):
        look = Look(direction="in", place=i, tone_hz=TONE)
        found = float(np.exp(model.predict([HEALTHY], [look], with_slope=False).mean[0, 0]))
        beyond = set(plan.beyond(i))
        near = plan.places[i].parent + 1
        feeds = [k for k, p in enumerate(plan.places) if k not in beyond]
        wanted = model.run_ohm[i, tone] + nodal_ohm(model, node=near, removed=i, short=None)
        if abs(wanted) < 1e6 and feeds:
            assert found == pytest.approx(abs(wanted), rel=1e-3)  # cable capacitance of the run


def test_slopes_agree_with_small_steps() -> None:
    plan = random_plan(3, 6)
    model = LineModel(plan, [TONE], DEFAULT_LIMITS)
    looks = [
        Look(direction="whole", place=-1, tone_hz=TONE),
        Look(direction="out", place=2, tone_hz=TONE),
        Look(direction="in", place=4, tone_hz=TONE),
        Look(direction="alone", place=3, tone_hz=TONE),
    ]
    for kind, size in (("none", 1.0), ("short", 2.0), ("corroded", 50.0)):
        suspect = Suspect(kind=kind, place=-1 if kind == "none" else 2, size=size, weight=1.0)
        slope = model.predict([suspect], looks).slope[0, :, : model.n_state]
        for column in [*range(0, model.n_state, 5), model.n_state - 2, model.n_state - 1]:
            step = np.zeros(model.n_state)
            step[column] = 1e-4
            model.state_mean = step
            up = model.predict([suspect], looks, with_slope=False).mean[0]
            model.state_mean = -step
            down = model.predict([suspect], looks, with_slope=False).mean[0]
            model.state_mean = np.zeros(model.n_state)
            np.testing.assert_allclose((up - down) / 2e-4, slope[:, column], atol=2e-6)
