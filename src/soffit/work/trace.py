"""Find the fault on a line: from a job, a description, a count and a sweep, or for practice."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from soffit.errors import JobError
from soffit.measure.equal import equal_groups
from soffit.measure.expected import bands
from soffit.measure.hunt import Advice, Hunt
from soffit.measure.line_plan import LinePlan, Place
from soffit.measure.next_test import (
    TONE_DRIVE,
    Instrument,
    Test,
    clamp_tone_hz,
    least_clamp_a,
    live_looks,
    readable,
)
from soffit.measure.suspects import fault_kinds
from soffit.measure.symptoms import symptom
from soffit.measure.verdict import BESIDE_OHMS, UP_AND_LOOK
from soffit.tables.load import load_table
from soffit.work.trace_book import TraceBook

if TYPE_CHECKING:
    from soffit.measure.practice import PracticeBench

CAUTION: Final = (
    "caution: above 50 V the line can hurt: amplifier off and both legs off before any joint is"
    " opened; ladder on firm ground, somebody at its foot. Defer to the local code, the authority"
    " having jurisdiction (AHJ) and a licensed electrician."
)
LIFE_SAFETY: Final = (
    "fire and evacuation voice lines are out of scope: leave them to licensed people"
)
GUESS_SPACING_M: Final = 5.0
GUESS_FEED_M: Final = 25.0
PLACES_MOST: Final = 300
GUESS_GAUGE: Final = ("AWG", "16")


def book_of_job(folder: Path, line_label: str) -> TraceBook:
    """Open a hunt on a line of a job; all readings of the line come with it.

    Parameters
    ----------
    folder
        Folder of the job.
    line_label
        Label or key of the line.

    Returns
    -------
    TraceBook
        The hunt.

    Raises
    ------
    JobError
        If the job cannot be read or has no such line.
    """
    from soffit.job.api import open_job
    from soffit.work.measured import broken_lines, closed_rings, line_plans

    job = open_job(folder)
    plans = line_plans(job)
    wanted = line_label.casefold()
    for plan in plans:
        if wanted in {plan.label.casefold(), plan.key.casefold()}:
            check_size(len(plan.places))
            keys = {plan.key, *(place.key for place in plan.places)}
            mine = [r for r in job.readings if r.place_key in keys or r.strikes]
            return TraceBook(plan=plan, readings=mine, limits=job.survey.limits)
    for ring in (*closed_rings(job), *broken_lines(job)):
        if wanted in {ring.label.casefold(), ring.line_key.casefold()}:
            raise JobError(
                what=ring.what, where=f"design.json lines.{ring.line_key}", why=ring.why, do=ring.do
            )
    labels = ", ".join(line.label for line in job.design.lines)
    raise JobError(
        what=f"there is no line {line_label!r}",
        where="--line",
        why=f"the design has {labels or 'no lines'}",
        do="name one of these, or run soffit design first",
    )


def check_size(count: int) -> None:
    """Refuse lines that are longer than any that hangs.

    Parameters
    ----------
    count
        Joints and loudspeakers.

    Raises
    ------
    JobError
        If there are more than a hunt can weigh.
    """
    if not 1 <= count <= PLACES_MOST:
        raise JobError(
            what=f"a line of {count} joints",
            where="command line: soffit trace",
            why=f"a hunt weighs every fault at every joint, up to {PLACES_MOST} of them",
            do="trace the half of the line that reads wrong at its middle joint",
        )


def plan_of_description(source: Mapping[str, Any]) -> LinePlan:
    """Make the line from what somebody tells: a description, an even chain, or a count.

    Parameters
    ----------
    source
        ``label``, ``volts``, and ``text`` with one run a line, or ``speakers`` with ``tap``,
        ``feed``, ``spacing`` and ``cable``; ``guess`` if only the count is known.

    Returns
    -------
    LinePlan
        The line, trusted as told or as guessed.

    Raises
    ------
    JobError
        With everything that cannot be read.
    """
    from soffit.work.quick_line_question import LineWords, question_from_words

    label = str(source.get("label") or "L1")
    is_guess = bool(source.get("guess"))
    words = LineWords(
        volts=str(source.get("volts") or "100"),
        speakers=source.get("speakers"),
        tap=source.get("tap"),
        feed=source.get("feed") or (f"{GUESS_FEED_M} m" if is_guess else None),
        spacing=source.get("spacing") or (f"{GUESS_SPACING_M} m" if is_guess else None),
        cable=source.get("cable") or (f"{GUESS_GAUGE[1]} {GUESS_GAUGE[0]}" if is_guess else None),
        insertion_loss=str(source.get("insertion_loss") or "0.7 dB"),
        tap_watt=source.get("tap_watt") or "drawn",
    )
    question = question_from_words(words, text=source.get("text"), name="description")
    check_size(len(question.runs))
    places = _told_places(question, label)
    return LinePlan(
        key=label.casefold(),
        label=label,
        voltage_v=question.line_voltage_v,
        places=places,
        trust="guessed" if is_guess else "told",
        amplifier_w=float(source.get("amplifier_w") or 0.0),
    )


def _told_places(question: Any, label: str) -> tuple[Place, ...]:  # noqa: ANN401 a QuickLine; its module stays unimported
    from soffit.circuit.cable import conductor_resistance_ohm_m
    from soffit.work.quick_line_text import AMPLIFIER

    places: list[Place] = []
    index = {AMPLIFIER: -1}
    waiting = list(question.runs)
    while waiting:
        ready = [run for run in waiting if run.start in index and run.end not in index]
        if not ready:
            raise JobError(
                what=f"{waiting[0].start} to {waiting[0].end} does not fit the line",
                where="description",
                why="its start is not fed from the amplifier, or its end is fed twice (a ring)",
                do="list runs so that each begins at the amplifier or at an end named elsewhere;"
                " take one end of a ring off before you trace it",
            )
        for run in ready:
            wire = conductor_resistance_ohm_m(
                run.gauge[0], run.gauge[1], conductor_degc=question.conductor_degc
            )
            name = f"{label}-{int(run.end):02d}" if run.end.isdigit() else run.end
            index[run.end] = len(places)
            places.append(
                Place(
                    key=name,
                    label=name,
                    parent=index[run.start],
                    length_m=run.length_m,
                    wire_ohm_m=wire,
                    tap_w=run.tap_w,
                    loss_db=question.insertion_loss_db,
                    is_delivered=question.tap_watt == "delivered",
                )
            )
            waiting.remove(run)
    return tuple(places)


def book_of_practice(
    seed: int, count: int, *, with_log: bool = False
) -> tuple[TraceBook, "PracticeBench"]:
    """Make a line up, put a fault on it, and open a hunt.

    Parameters
    ----------
    seed
        The same seed makes the same line.
    count
        Loudspeakers.
    with_log
        Whether the line has a hand-over log.

    Returns
    -------
    tuple
        The hunt, and the bench that answers readings.
    """
    import numpy as np

    from soffit.measure.practice import PracticeBench, draw_line
    from soffit.measure.practice_hunt import plan_of_practice

    check_size(count)
    line, before = draw_line(seed, count=count)
    book = TraceBook(plan=plan_of_practice(line.plan), source={"practice": seed, "count": count})
    if with_log:
        past = PracticeBench(before, np.random.default_rng(seed + 1))
        for place in book.plan.places:
            for way in ("out", "alone"):
                book.readings.append(_logged(book, practice_entry(book, past, f"{way}", place)))
        book.readings.append(
            _logged(book, f"{book.plan.label} whole {past.ohms('rack', -1, [1000.0])[0]}")
        )
    return book, PracticeBench(line, np.random.default_rng(seed + 2))


def _logged(book: TraceBook, text: str) -> Any:  # noqa: ANN401 a Reading
    from dataclasses import replace

    from soffit.measure.entry import parse_entry
    from soffit.work.trace_book import LOG_NOTE, new_key

    reading = parse_entry(text, key=new_key(), taken_at="2000-01-01T00:00:00+00:00")
    return replace(book.resolved(reading), note=LOG_NOTE)


def practice_entry(book: TraceBook, bench: "PracticeBench", way: str, place: Place) -> str:
    """Read the practice line and return the entry that a person would type.

    Parameters
    ----------
    book
        The hunt.
    bench
        What answers.
    way
        ``out``, ``in`` or ``alone``.
    place
        Where.
    """
    looks = {"out": "away", "in": "back", "alone": "speaker"}
    index = book.plan.index(place.key)
    shown = bench.ohms(looks[way], index if index is not None else 0, [1000.0])[0]  # type: ignore[arg-type] # one of the three
    return f"{place.label} {way} {shown}"


def practise(book: TraceBook, bench: "PracticeBench", test: Test, *, now: str) -> list[str]:
    """Let the practice line answer a whole test; the readings are taken in.

    Parameters
    ----------
    book, bench
        The hunt and what answers.
    test
        What to do.
    now
        Time, ISO 8601.

    Returns
    -------
    list of str
        What was read, as entries.
    """
    if test.kind in {"walk", "listen"}:
        places = list(book.plan.speakers) if test.kind == "walk" else [test.place]
        if bench.is_protecting():
            entries = [f"{book.plan.label} silent"]
        else:
            words = bench.heard(places)
            entries = [
                f"{book.plan.places[i].label} {word}" for i, word in zip(places, words, strict=True)
            ]
    elif test.kind in {"clamp", "volts"}:
        label, tone = book.plan.places[test.place].label, test.looks[0].tone_hz
        read, unit = (bench.amps, "A") if test.kind == "clamp" else (bench.volts, "V")
        drive = round(book.plan.voltage_v * TONE_DRIVE, 3)
        shown = read(test.place, drive_v=drive, tone_hz=tone)
        entries = [f"{label} {tone:g} Hz {shown} {unit} drive={drive:g}V"]
    elif test.kind == "rack":
        entries = [f"{book.plan.label} whole {bench.ohms('rack', -1, [1000.0])[0]}"]
    else:
        place = book.plan.places[test.place]
        ways = dict.fromkeys(look.direction for look in test.looks)
        entries = [practice_entry(book, bench, way, place) for way in ways]
    for entry in entries:
        book.add(entry, now=now)
    return entries


def steps_for(book: TraceBook, test: Test) -> tuple[str, ...]:
    """Return what to do on the ladder for a test, step by step.

    Parameters
    ----------
    book
        The hunt.
    test
        What to do.
    """
    place = book.plan.name(test.place)
    feed = "the rack"
    if test.place >= 0:
        feed = book.plan.name(book.plan.places[test.place].parent)
    return tuple(
        row["do"].format(
            place=place,
            feed=feed,
            tone=f"{clamp_tone_hz(book.limits):g} Hz" if test.kind == "clamp" else "1 kHz",
            drive=f"{book.plan.voltage_v * TONE_DRIVE:.2f} V",
        )
        for row in load_table("trace_steps").rows
        if row["test"] == test.kind
    )


def first_hour() -> tuple[str, ...]:
    """Return the sheet for a line that nobody documented."""
    rows = load_table("trace_steps").rows
    return tuple(row["do"] for row in rows if row["test"] == "first hour")


def _test_dict(book: TraceBook, hunt: Hunt, test: Test) -> dict[str, Any]:
    model = hunt.posterior().model
    places = bands(model, test.looks, is_logged=bool(hunt.evidence.log))
    return {
        "kind": test.kind,
        "place": book.plan.name(test.place),
        "minutes": round(test.seconds_s / 60.0, 1),
        "bits": round(test.bits, 3),
        "steps": list(steps_for(book, test)),
        "sound_line_reads": [
            {
                "way": look.direction,
                "tone_hz": look.tone_hz,
                **_band(book, look.direction, mean, sd),
            }
            for look, (mean, sd) in zip(test.looks, places, strict=True)
        ],
    }


_LIVE: Final = {"amps": "A", "volts": "V"}


def _band(book: TraceBook, way: str, mean: float, sd: float) -> dict[str, Any]:
    """Return the band of a sound line: ohms, or amperes and volts at the drive."""
    unit = _LIVE.get(way, "")
    scale = book.plan.voltage_v * TONE_DRIVE if unit else 1.0
    low, high = (_three(scale * math.exp(mean + sign * 2.0 * sd)) for sign in (-1.0, 1.0))
    if unit:
        return {"low": low, "high": high, "unit": unit, "drive_v": _three(scale)}
    return {"low_ohm": low, "high_ohm": high, "low": low, "high": high, "unit": "Ω"}


def _too_small(book: TraceBook, hunt: Hunt) -> str:
    """Say where a clamp cannot read the line's current; nothing without a clamp."""
    if "clamp" not in book.instruments:
        return ""
    model, drive_v = hunt.posterior().model, book.plan.voltage_v * TONE_DRIVE
    looks = live_looks(book.plan, frozenset[Instrument]({"clamp"}), book.limits)
    _, small = readable(model, looks, drive_v=drive_v)
    if not small:
        return ""
    first = max(small, key=lambda place: small[place])
    return (
        f"clamp: at {len(small)} of {len(looks)} loudspeakers the current is under"
        f" {1e3 * least_clamp_a(book.limits):.0f} mA at {drive_v:.2f} V"
        f" ({book.plan.name(first)}: {1e3 * small[first]:.1f} mA), which this clamp cannot read"
        " (limits clamp_least_a, clamp_resolution_a)"
    )


def _three(value: float) -> float:
    return float(f"{value:.3g}")


def advice_dict(book: TraceBook) -> dict[str, Any]:
    """Return everything that is known and what to do next, as plain data.

    Parameters
    ----------
    book
        The hunt.
    """
    hunt = book.hunt()
    advice = hunt.advice()
    posterior = hunt.posterior()
    body: dict[str, Any] = {
        "line": book.plan.label,
        "speakers": len(book.plan.speakers),
        "trust": book.plan.trust,
        "load_w": round(book.plan.load_w, 2),
        "readings": len(hunt.evidence.shown) + len(hunt.evidence.listened),
        "log_readings": len(hunt.evidence.log),
        "outcome": advice.outcome,
        "because": advice.because,
        "suspects": [
            {
                "place": entry.label,
                "probability": round(entry.share, 4),
                "words": entry.words,
                "kinds": [[kind, round(share, 3)] for kind, share in entry.kinds[:4]],
            }
            for entry in advice.ranked
        ],
        "kinds": [[kind, round(v, 4)] for kind, v in list(posterior.by_kind().items())[:5]],
        "unknown_cause": round(advice.other, 4),
        "misfit": round(advice.misfit, 5),
        "said": [symptom(name).as_dict() for name in book.said],
        "heard_too": _heard_too(book),
        "clamp": _too_small(book, hunt),
        "next": None,
        "others": [],
        "equal": [
            {"words": list(g.words), "probability": round(g.share, 4), "tell_apart": list(g.signs)}
            for g in equal_groups(posterior)
        ],
        "caution": CAUTION,
    }
    if advice.next_test is not None:
        body["next"] = _test_dict(book, hunt, advice.next_test)
        body["others"] = [
            {
                "kind": test.kind,
                "place": book.plan.name(test.place),
                "minutes": round(test.seconds_s / 60.0, 1),
                "bits": round(test.bits, 3),
            }
            for test in advice.choices[1:]
        ]
    else:
        body["do"] = _end_words(advice)
    if not hunt.evidence.log:
        body["log"] = (
            "no hand-over log: once the line is sound, read every loudspeaker alone and every"
            " joint out (soffit prove --log); the next hunt is then surer"
        )
    return body


def _heard_too(book: TraceBook) -> list[dict[str, str]]:
    """Return what was heard that has causes beside those that a hunt weighs."""
    return [
        {
            "place": reading.place,
            "word": reading.word,
            "first": BESIDE_OHMS[reading.word],
            "look": UP_AND_LOOK,
        }
        for reading in book.current()
        if reading.quantity == "ear" and reading.word in BESIDE_OHMS
    ]


def _end_words(advice: Advice) -> list[str]:
    best = advice.ranked[0]
    kinds = fault_kinds()
    match advice.outcome:
        case "found":
            words = [best.mend]
            for kind, share in best.kinds[:3]:
                if share > 0.02 and kinds[kind].sign:
                    words.append(f"{share:.0%} {kind}: {kinds[kind].sign}")
            where = "rack" if best.place < 0 else best.label
            words.append(f"then say 'mended {where}' and read the line again at the rack")
            return words
        case "sound":
            return ["nothing on the list is wrong; keep these readings as the hand-over log"]
        case "refuse":
            return [
                "do not trust a name now: read the whole line again with another meter",
                "an unplanned capacitor, a second fault, a plan that is not this line: check one"
                " loudspeaker alone against its tap",
                "then halve the line: open the middle joint and read both ways",
            ]
        case _:
            places = [entry.label for entry in advice.ranked[:3] if entry.place >= 0]
            text = ", ".join(places) or "nowhere in particular"
            words = ["what is left is too small to hear or to measure from here"]
            if best.kinds[0][0] == "none":
                sound = best.share * best.kinds[0][1]
                words.append(f"most likely nothing is wrong with the line ({sound:.0%})")
            words.append(f"if you are up there anyway, look at {text}")
            return words


def advice_text(body: Mapping[str, Any]) -> str:
    """Return advice as text.

    Parameters
    ----------
    body
        Result of :func:`advice_dict`.
    """
    lines = [f"{body['line']}: {body['outcome']} ({body['because']})"]
    kinds = [f"{kind} {share:.0%}" for kind, share in body["kinds"] if share >= 0.01]
    lines.append(f"  what: {', '.join(kinds)}")
    rows: Sequence[Mapping[str, Any]] = body["suspects"][:5]
    lines += [f"  {row['probability']:>6.1%}  {row['place']:<14} {row['words']}" for row in rows]
    if body["unknown_cause"] >= 0.01:
        lines.append(f"  {body['unknown_cause']:>6.1%}  {'':<14} something that is not on the list")
    for group in body["equal"][:2]:
        lines.append("  the same to a meter at every joint: " + " = ".join(group["words"]))
    for said in body["said"]:
        lines.append(f"  said: {said['said']}; first suspicion: {said['first']}")
    for row in body["heard_too"]:
        lines.append(f"  {row['word']} at {row['place']}: {row['first']}; {row['look']}")
    if body["clamp"]:
        lines.append(f"  {body['clamp']}")
    if body["next"] is not None:
        lines += _next_text(body["next"])
    else:
        lines += [f"do: {text}" for text in body["do"]]
    if body["trust"] == "guessed":
        lines.append("the plan is a guess from the count: what is named is a direction, no proof")
    return "\n".join(lines)


def _next_text(test: Mapping[str, Any]) -> list[str]:
    where = {
        "walk": "walk along the whole line",
        "listen": f"listen under {test['place']}",
        "rack": "read the whole line at the rack",
        "clamp": f"clamp one core at {test['place']}",
        "volts": f"read volts at {test['place']}",
    }.get(test["kind"], f"open the joint at {test['place']}")
    lines = [f"next: {where}, about {test['minutes']:.0f} min"]
    lines += [f"  {number}. {step}" for number, step in enumerate(test["steps"], 1)]
    for row in test["sound_line_reads"]:
        lines.append(
            f"  a sound line reads {row['way']} {row['low']:g} to {row['high']:g} {row['unit']}"
            f" at {row['tone_hz']:g} Hz"
            + (f", {row['drive_v']:g} V on the line" if "drive_v" in row else "")
        )
    return lines
