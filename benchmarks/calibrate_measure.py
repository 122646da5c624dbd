"""Calibrate the fault finder on practice lines that it has never seen, and write the page.

``python -m benchmarks.calibrate_measure run NAME`` hunts on one set of lines and keeps the results;
``python -m benchmarks.calibrate_measure page`` writes docs/calibration.md from what is kept.
"""

import json
import math
import sys
import time
from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from soffit.measure.practice import draw_fault, draw_line
from soffit.measure.practice_hunt import hunt_practice, walk_and_halve
from soffit.measure.practice_line import HIDDEN_KINDS, HiddenKind
from soffit.measure.practice_ranges import PRACTICE_RANGES

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "calibration_results.json"
PAGE = HERE.parent / "docs" / "calibration.md"

CLOSE = replace(
    PRACTICE_RANGES,
    batches=1,
    second_resonance_share=0.0,
    capacitor_share=0.0,
    convention_wrong_share=0.0,
    length_common=(1.0, 1.1),
)
FAR = replace(PRACTICE_RANGES, second_resonance_share=1.0, capacitor_share=1.0, length_sd=0.2)

SETS: dict[str, dict[str, Any]] = {
    "30 with a log": {"count": 30, "log": True, "ears": True, "each": 100, "seed": 301_000},
    "80 without a log": {"count": 80, "log": False, "ears": True, "each": 30, "seed": 302_000},
    "30 with a log, no ears": {"count": 30, "log": True, "ears": False, "each": 3, "seed": 293_000},
    "12, close to the model": {
        "count": 12, "log": False, "ears": True, "each": 4, "seed": 294_000, "ranges": CLOSE,
    },
    "12, as drawn": {"count": 12, "log": False, "ears": True, "each": 8, "seed": 295_000},
    "12, far from the model": {
        "count": 12, "log": False, "ears": True, "each": 4, "seed": 296_000, "ranges": FAR,
    },
    "12, six tones": {
        "count": 12, "log": False, "ears": True, "each": 3, "seed": 297_000,
        "tones": (100.0, 200.0, 400.0, 1000.0, 2000.0, 4000.0),
    },
}  # fmt: skip
"""Seeds from 291 000 on were never used while the finder was written."""


def run(name: str) -> None:
    chosen = SETS[name]
    ranges = chosen.get("ranges", PRACTICE_RANGES)
    rows = []
    start = time.perf_counter()
    for number in range(chosen["each"]):
        for kind in HIDDEN_KINDS:
            seed = chosen["seed"] + number
            line, before = draw_line(seed, count=chosen["count"], kind=kind, ranges=ranges)
            found = hunt_practice(
                line,
                seed,
                before=before if chosen["log"] else None,
                can_listen=chosen["ears"],
                tones_hz=chosen.get("tones", (1000.0,)),
            )
            other = walk_and_halve(line, seed)
            rows.append({"kind": kind, "seed": seed, "hunt": asdict(found), "walk": asdict(other)})
        keep(name, rows)
        print(name, number, f"{time.perf_counter() - start:.0f} s", flush=True)


TWO = "two faults on 12"
TWO_KINDS: tuple[HiddenKind, ...] = (
    "open", "short", "missing", "tap", "bypass", "corroded", "other_voltage",
)  # fmt: skip


def run_two(pairs: int = 24, seed: int = 298_000) -> None:
    """Two faults at different places: hunt, mend what is named, hunt again."""
    rows: list[dict[str, Any]] = []
    for number in range(pairs):
        line, _ = draw_line(seed + number, count=12, kind="none")
        rng = np.random.default_rng(number)
        one, two = rng.choice(len(TWO_KINDS), 2)
        faults = (draw_fault(rng, line, TWO_KINDS[one]), draw_fault(rng, line, TWO_KINDS[two]))
        if faults[0].place == faults[1].place:
            continue
        line = replace(line, faults=faults)
        hunts = []
        for again in range(3):
            found = hunt_practice(line, 10 * number + again)
            hunts.append(asdict(found))
            if found.outcome != "found" or not found.is_right:
                break
            line = line.mended(found.place)
            if not line.faults:
                break
        rows.append({"kinds": [f.kind for f in faults], "hunts": hunts, "left": len(line.faults)})
    keep(TWO, rows)


def two_text(rows: list[dict[str, Any]]) -> list[str]:
    done = sum(row["left"] == 0 for row in rows)
    named = [h for row in rows for h in row["hunts"] if h["outcome"] in {"found", "sound"}]
    wrong = sum(not h["is_right"] for h in named)
    refused = sum(row["hunts"][-1]["outcome"] in {"refuse", "cannot tell"} for row in rows)
    return [
        "## Two faults at once",
        "",
        f"{len(rows)} lines of 12 with two faults; what is named is mended, and the line is read",
        f"again: both found {wilson(done, len(rows))}; ended in refuse or cannot tell",
        f"{wilson(refused, len(rows))}; wrong {wilson(wrong, len(named))} of what was named.",
        "",
    ]


def keep(name: str, rows: list[dict[str, Any]]) -> None:
    known = json.loads(RESULTS.read_text(encoding="utf-8")) if RESULTS.exists() else {}
    known[name] = rows
    sets = [
        f"{json.dumps(one)}: [\n"
        + ",\n".join(json.dumps(_short(row), sort_keys=True) for row in known[one])
        + "\n]"
        for one in sorted(known)
    ]
    RESULTS.write_text("{\n" + ",\n".join(sets) + "\n}\n", encoding="utf-8")


def _short(value: object) -> object:
    """Return plain data with five digits, which is more than the page shows."""
    if isinstance(value, dict):
        return {key: _short(item) for key, item in value.items()}
    return round(value, 5) if isinstance(value, float) else value


_MANY = 300
"""Hunts from which a share close to none or all is given with one decimal."""


def wilson(hits: int, count: int) -> str:
    """Share with its 95 % interval (Wilson 1927, from memory)."""
    if count == 0:
        return "-"
    z = 1.959964
    share = hits / count
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    reach = (
        z * math.sqrt(share * (1 - share) / count + z * z / (4 * count**2)) / (1 + z * z / count)
    )
    low, high = max(middle - reach, 0.0), min(middle + reach, 1.0)
    digits = 1 if count >= _MANY and not 0.02 < share < 0.98 else 0
    low_text, high_text = (f"{100 * bound:.{digits}f}" for bound in (low, high))
    return f"{100 * share:.{digits}f} % ({low_text}-{high_text})"


def mean_text(values: Iterable[float]) -> str:
    """Mean with the 95 % interval of a normal mean."""
    found = list(values)
    if not found:
        return "-"
    mean = sum(found) / len(found)
    spread = math.sqrt(sum((v - mean) ** 2 for v in found) / max(len(found) - 1, 1))
    return f"{mean:.1f} ± {1.96 * spread / math.sqrt(len(found)):.1f}"


def is_named(row: dict[str, Any]) -> bool:
    return row["hunt"]["outcome"] in {"found", "sound"}


def summary(name: str, rows: list[dict[str, Any]]) -> str:
    named = [row for row in rows if is_named(row)]
    right = sum(row["hunt"]["is_right"] for row in named)
    wrong = len(named) - right
    hunt = [row["hunt"] for row in rows]
    walk = [row["walk"] for row in rows]
    return (
        f"| {name} | {len(rows)} | {wilson(len(named), len(rows))} |"
        f" {wilson(right, len(named))} | {wilson(wrong, len(rows))} |"
        f" {mean_text(h['visits'] for h in hunt)} |"
        f" {mean_text(row['hunt']['visits'] for row in named)} |"
        f" {mean_text(h['minutes'] for h in hunt)} |"
        f" {wilson(sum(w['is_right'] for w in walk), len(walk))} |"
        f" {mean_text(w['visits'] for w in walk)} | {mean_text(w['minutes'] for w in walk)} |"
    )


def kind_table(rows: list[dict[str, Any]]) -> list[str]:
    lines = [
        "| fault | hunts | named | right if named | visits | minutes"
        " | walk and halve: right | minutes |",
        "|--|--|--|--|--|--|--|--|",
    ]
    for kind in HIDDEN_KINDS:
        mine = [row for row in rows if row["kind"] == kind]
        named = [row for row in mine if is_named(row)]
        right = sum(row["hunt"]["is_right"] for row in named)
        lines.append(
            f"| {kind.replace('_', ' ')} | {len(mine)} | {wilson(len(named), len(mine))} |"
            f" {wilson(right, len(named))} | {mean_text(r['hunt']['visits'] for r in mine)} |"
            f" {mean_text(r['hunt']['minutes'] for r in mine)} |"
            f" {wilson(sum(r['walk']['is_right'] for r in mine), len(mine))} |"
            f" {mean_text(r['walk']['minutes'] for r in mine)} |"
        )
    return lines


def certainty_table(known: dict[str, list[dict[str, Any]]]) -> list[str]:
    lines = ["| said | hunts | was right |", "|--|--|--|"]
    every = [row["hunt"] for rows in known.values() for row in rows if is_named(row)]
    for low, high in ((0.95, 0.98), (0.98, 0.995), (0.995, 1.01)):
        mine = [h for h in every if low <= h["share"] < high]
        text = f"{100 * low:.1f} to {100 * min(high, 1.0):.1f} %"
        lines.append(
            f"| {text} | {len(mine)} | {wilson(sum(h['is_right'] for h in mine), len(mine))} |"
        )
    return lines


def page() -> None:
    known = json.loads(RESULTS.read_text(encoding="utf-8"))
    two = two_text(known[TWO]) if TWO in known else []
    known = {name: known[name] for name in SETS if name in known}
    wrong = [
        (name, row)
        for name, rows in known.items()
        for row in rows
        if is_named(row) and not row["hunt"]["is_right"]
    ]
    text = [
        "# How often soffit trace is right",
        "",
        "Generated by `python -m benchmarks.calibrate_measure page`; do not edit by hand.",
        "",
        "Hunts on made-up lines (`soffit trace --practice`). The lines are not the model that",
        "finds the fault: each loudspeaker has its own transformer, batches, a second resonance",
        "and capacitors now and then, wrong lengths and wrong papers, and the line is solved by",
        "other code. Their ranges were fixed before the finder was written and were not tuned; the",
        "seeds below were never used while it was written. Real lines may be worse: these are",
        "simulations, and nobody has measured a real one for this page. Clamps, volts and the word",
        "*distorted* take no part in these hunts: nothing is known of how often they are right.",
        "",
        "*Named* means that a place, or a sound line, was given as certain. *Wrong* means named",
        "and not so, without any warning. A visit is one joint opened on a ladder, the last one to",
        "confirm included. Beside it, in the same minutes: a walk along the floor with noise on",
        "the line, then half-splitting with the meter. Ranges are 95 % intervals.",
        "",
        "| lines | hunts | named | right if named | wrong | visits | visits if named"
        " | minutes | walk and halve: right | visits | minutes |",
        "|--|--|--|--|--|--|--|--|--|--|--|",
        *(summary(name, rows) for name, rows in known.items()),
        "",
        "Targets: at most 2 visits at 30 loudspeakers with a log and 4 at 80; right in 95 % of",
        "what is named; wrong in at most 1 % of the hunts. Where a row misses its target it says",
        "so by its numbers; they are published as they fell. The interval beside each share says",
        "what so many hunts prove: about 1 % takes a thousand, which only the first row has.",
        "",
        "What it mostly cannot do, and then says *cannot tell*: certify a sound line (something",
        "too small to hear or to read can always be left), find a capacitor in one loudspeaker",
        "with 1 kHz alone, or find one extra loudspeaker on a long line without a log.",
        "",
        "## When it said so, was it so?",
        "",
        *certainty_table(known),
        "",
    ]
    for name, rows in known.items():
        text += [f"## {name}", "", *kind_table(rows), ""]
    text += two
    text += [
        "## Every wrong name",
        "",
        "| lines | seed | fault | was at | named | as | certainty |",
        "|--|--|--|--|--|--|--|",
    ]
    for name, row in wrong:
        line, _ = draw_line(row["seed"], count=SETS[name]["count"], kind=row["kind"],
                            ranges=SETS[name].get("ranges", PRACTICE_RANGES))  # fmt: skip
        place = line.faults[0].place if line.faults else -1
        hunt = row["hunt"]
        text.append(
            f"| {name} | {row['seed']} | {row['kind'].replace('_', ' ')} | {place_text(place)} |"
            f" {place_text(hunt['place'])} | {hunt['kind']} | {100 * hunt['share']:.1f} % |"
        )
    if not wrong:
        text[-2:] = ["None in these hunts."]
    text += ["", "Places are counted from 1 in the order of the papers."]
    PAGE.write_text("\n".join(text) + "\n", encoding="utf-8")
    print(f"{PAGE.name}: {sum(len(rows) for rows in known.values())} hunts")


def place_text(place: int) -> str:
    return "whole line" if place < 0 else str(place + 1)


if __name__ == "__main__":
    if sys.argv[1:2] == ["page"]:
        page()
    elif sys.argv[1:3] == ["run", "two"]:
        run_two()
    else:
        for wanted in sys.argv[2:] or list(SETS):
            run(wanted)
