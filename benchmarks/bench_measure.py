"""Tracing: time of the posterior and the next test, and quality kept by the calibration."""

import json
import time
from pathlib import Path

import numpy as np

from benchmarks.row import Row
from soffit.measure.evidence import Listened
from soffit.measure.next_test import next_tests
from soffit.measure.practice import PracticeBench, draw_line
from soffit.measure.practice_hunt import open_hunt

TONES = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
RESULTS = Path(__file__).resolve().parent / "calibration_results.json"


def _time_s(*, with_walk: bool) -> float:
    line, _ = draw_line(1, count=80, kind="missing")
    bench = PracticeBench(line, np.random.default_rng(0))
    words = bench.heard()
    hunt = open_hunt(line, bench, tones_hz=TONES)
    hunt.posterior()  # the prior over frequency is drawn once a session

    def work() -> None:
        hunt.hear([Listened(place=i, word=w) for i, w in enumerate(words)] if with_walk else [])
        next_tests(hunt.posterior(), here=-1, tones_hz=TONES)

    least = float("inf")
    for _ in range(3):
        start = time.process_time()
        work()
        least = min(least, time.process_time() - start)
    return least


def _named(name: str) -> list[dict[str, object]]:
    if not RESULTS.exists():
        return []
    return [row["hunt"] for row in json.loads(RESULTS.read_text(encoding="utf-8")).get(name, [])]


def rows() -> list[Row]:
    found = [
        Row(
            name="trace: posterior and next test, 80 speakers, 8 tones, at the rack",
            measured=_time_s(with_walk=False),
            unit="s",
            target=2.0,
            target_text="< 2 s",
            note="all single faults, about 1900; processor time, least of 3",
        ),
        Row(
            name="trace: the same after a walk by ear",
            measured=_time_s(with_walk=True),
            unit="s",
            target=2.0,
            target_text="< 2 s",
            note="processor time, least of 3",
        ),
    ]
    for name, most in (("30 with a log", 2.0), ("80 without a log", 4.0)):
        hunts = _named(name)
        if not hunts:
            continue
        named = [h for h in hunts if h["outcome"] in {"found", "sound"}]
        wrong = sum(not h["is_right"] for h in named)
        found += [
            Row(
                name=f"trace: mean visits, {name}",
                measured=float(np.mean([float(str(h["visits"])) for h in hunts])),
                unit="",
                target=most,
                target_text=f"<= {most:g}",
                note=f"{len(hunts)} hunts, ears and meter, mismatched lines, kept seeds",
            ),
            Row(
                name=f"trace: named and wrong, {name}",
                measured=100.0 * wrong / len(hunts),
                unit="%",
                target=1.0,
                target_text="<= 1 %",
                note=f"of named {100.0 * (1 - wrong / max(len(named), 1)):.1f} % are right",
            ),
        ]
    return found
