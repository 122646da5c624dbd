"""What the fault finder says on kept readings stays the same when only its speed changes.

The stored numbers are our own, from before the finder was made quicker: no evidence that they are
right (see the calibration page for that), only that nothing moved.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from soffit.measure.evidence import Listened, Shown
from soffit.measure.next_test import next_tests
from soffit.measure.practice import PracticeBench, draw_line
from soffit.measure.practice_hunt import LOOKS, open_hunt
from soffit.measure.predict import Look

STORED = json.loads(
    (Path(__file__).parent / "trace_posterior_stored.json").read_text(encoding="utf-8")
)


def said_of(case: dict) -> dict:
    tones = tuple(case["tones_hz"])
    line, _ = draw_line(7, count=case["count"], kind=case["kind"])
    bench = PracticeBench(line, np.random.default_rng(3))
    hunt = open_hunt(line, bench, tones_hz=tones)
    if case["walk"]:
        hunt.hear([Listened(place=i, word=word) for i, word in enumerate(bench.heard())])
    for joint in case["joints"]:
        shown = []
        for way in ("out", "in", "alone"):
            texts = bench.ohms(LOOKS[way], joint, list(tones))
            for tone, text in zip(tones, texts, strict=True):
                try:
                    value = float(text)
                except ValueError:
                    continue
                look = Look(direction=way, place=joint, tone_hz=tone)
                shown.append(Shown(look=look, value=value))
        hunt.read(shown)
    posterior = hunt.posterior()
    best = next_tests(posterior, here=hunt.here, tones_hz=tones)[0]
    return {
        "places": [[p, v] for p, v in list(posterior.by_place().items())[:8]],
        "kinds": [[k, v] for k, v in list(posterior.by_kind().items())[:6]],
        "other": posterior.other,
        "next": [best.kind, best.place, best.bits],
    }


@pytest.mark.parametrize("name", list(STORED))
def test_the_posterior_and_the_next_test_are_unchanged(name: str) -> None:
    case, said = STORED[name]["case"], said_of(STORED[name]["case"])
    stored = STORED[name]["said"]
    assert [p for p, _ in said["places"]] == [p for p, _ in stored["places"]]
    assert [k for k, _ in said["kinds"]] == [k for k, _ in stored["kinds"]]
    for part in ("places", "kinds"):
        mine = [value for _, value in said[part]]
        assert mine == pytest.approx([v for _, v in stored[part]], rel=0, abs=1e-9), case
    assert said["other"] == pytest.approx(stored["other"], rel=0, abs=1e-9)
    assert said["next"][:2] == stored["next"][:2]
    assert said["next"][2] == pytest.approx(stored["next"][2], rel=0, abs=1e-8)
