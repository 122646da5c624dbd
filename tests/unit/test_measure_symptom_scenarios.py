"""What is said about ailing lines, rows 1-9, 19-22 and 28 of the trade's list.

Collected from field pages, electricians' talk and common practice; no published source. Each
scenario is simulated with the finder's own circuit or said in words, and the first suspicion must
be the row's.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from soffit.measure.evidence import Evidence, Listened, Shown
from soffit.measure.hunt import Hunt
from soffit.measure.line_plan import LinePlan, Place
from soffit.measure.predict import LineModel, Look
from soffit.measure.suspects import Suspect
from soffit.measure.symptoms import factors, symptom, symptoms
from soffit.measure.verdict import LineJudge, Verdict
from soffit.model.readings import Reading
from soffit.tables.settings import DEFAULT_LIMITS

RACK = Look(direction="whole", place=-1, tone_hz=1000.0)


def line(count: int = 10, **more: float) -> LinePlan:
    return LinePlan(
        key="l1",
        label="L1",
        voltage_v=100.0 / math.sqrt(2.0),
        places=tuple(
            Place(
                key=f"s{i}",
                label=f"L1-{i + 1:02d}",
                parent=i - 1,
                length_m=8.0,
                wire_ohm_m=0.0132,
                tap_w=5.0,
                taps_w=(1.25, 2.5, 5.0, 10.0),
            )
            for i in range(count)
        ),
        **more,  # type: ignore[arg-type]
    )


def shows(plan: LinePlan, suspect: Suspect, *looks: Look) -> tuple[Shown, ...]:
    model = LineModel(plan, [look.tone_hz for look in looks], DEFAULT_LIMITS)
    values = np.exp(model.predict([suspect], looks, with_slope=False).mean[0])
    return tuple(Shown(look=k, value=float(v)) for k, v in zip(looks, values, strict=True))


def suspicion(
    plan: LinePlan,
    shown: tuple[Shown, ...] = (),
    heard: dict[int, str] | None = None,
    said: tuple[str, ...] = (),
) -> tuple[str, int]:
    """Likeliest kind, and likeliest place of that kind."""
    listened = tuple(
        Listened(place=i, word=word)  # type: ignore[arg-type]
        for i, word in (heard or {}).items()
    )
    hunt = Hunt(
        plan=plan,
        limits=DEFAULT_LIMITS,
        evidence=Evidence(shown=shown, listened=listened),
        said=factors(said),
    )
    posterior = hunt.posterior()
    kind = next(iter(posterior.by_kind()))
    best = max(
        (i for i, s in enumerate(posterior.suspects) if s.kind == kind),
        key=lambda i: posterior.probability[i],
    )
    return kind, posterior.suspects[best].place


def fault(kind: str, place: int, size: float = 1.0) -> Suspect:
    return Suspect(kind=kind, place=place, size=size, weight=1.0)


def walk(count: int = 10, **odd: str) -> dict[int, str]:
    return {i: odd.get(f"s{i}", "heard") for i in range(count)}


def judged(plan: LinePlan, **values: object) -> Verdict:
    reading = Reading(
        key="r",
        place_key=str(values.pop("place_key", "l1")),
        place="L1",
        taken_at="",
        **values,  # type: ignore[arg-type]
    )
    return LineJudge(plan=plan, limits=DEFAULT_LIMITS).verdict(reading)


def test_row_1_trips_since_a_speaker_was_replaced_means_one_without_transformer() -> None:
    plan = line()
    shown = shows(plan, fault("bypass", 4, 8.0), RACK)
    assert suspicion(plan, shown, said=("trips-after-change",))[0] == "bypass"
    assert "transformer" in symptom("trips-after-change").first


def test_row_2_dead_area_and_hot_amplifier_means_a_short() -> None:
    plan = line()
    shown = shows(plan, fault("short", 6, 0.8), RACK)
    kind, _ = suspicion(plan, shown, {-1: "silent"}, said=("area-dead-amp-hot",))
    assert kind == "short"


def test_row_3_one_loud_speaker_means_a_higher_tap_or_a_lower_voltage_transformer() -> None:
    plan = line()
    shown = shows(plan, fault("tap", 3, 10.0), RACK)
    assert suspicion(plan, shown, walk(s3="loud"), said=("one-loud",)) == ("tap", 3)
    alone = Look(direction="alone", place=3, tone_hz=1000.0)
    shown = shows(plan, fault("other voltage", 3, 25.0), RACK, alone)
    assert suspicion(plan, shown, walk(s3="loud")) == ("other voltage", 3)


def test_row_4_one_faint_speaker_means_a_lower_tap_or_its_control() -> None:
    plan = line()
    shown = shows(plan, fault("tap", 5, 1.25), RACK)
    kind, place = suspicion(plan, shown, walk(s5="faint"), said=("one-faint",))
    assert (kind in {"tap", "turned down"}, place) == (True, 5)


def test_row_5_quieter_towards_the_far_end_means_thin_wire_or_a_bad_joint() -> None:
    plan = line(20)
    looks = [Look(direction="volts", place=i, tone_hz=1000.0) for i in (0, 9, 19)]
    shown = shows(plan, fault("thin cable", -1, 4.0), *looks)
    kind, _ = suspicion(plan, shown, said=("quieter-far",))
    assert kind in {"thin cable", "corroded"}
    verdict = judged(
        plan, place_key="s19", quantity="voltage", value=4.5, frequency_hz=1000.0, drive="7.07 V"
    )
    assert verdict.status == "fail"
    assert "wire too thin" in verdict.reasons[0]


def test_row_6_quiet_as_a_whole_means_selector_or_voltage_column() -> None:
    plan = line()
    shown = shows(plan, fault("all other voltage", -1, 100.0), RACK)
    assert suspicion(plan, shown, walk(), said=("all-quiet",)) == ("all other voltage", -1)


def test_row_7_dead_in_the_middle_means_the_tee_or_the_units() -> None:
    plan = line()
    tee = replace(
        plan,
        places=tuple(
            replace(place, parent=3 if i == 7 else place.parent)
            for i, place in enumerate(plan.places)
        ),
    )  # 5-7 hang on a branch of their own; 8-10 on the other side of the tee at 4
    dead = {"s4": "silent", "s5": "silent", "s6": "silent"}
    shown = shows(tee, fault("open", 4), RACK)
    assert suspicion(tee, shown, walk(**dead), said=("middle-dead",)) == ("open", 4)


def test_row_8_protects_on_bass_means_saturation() -> None:
    plan = line()
    low = judged(plan, quantity="impedance", value=12.0, direction="whole", frequency_hz=63.0)
    assert low.status in {"look", "fail"}
    assert "saturate" in low.reasons[0]
    assert "high-pass" in symptom("trips-on-bass").first


def test_row_9_protects_at_once_means_a_short() -> None:
    plan = line()
    shown = shows(plan, fault("short", 2, 0.15), RACK)
    assert suspicion(plan, shown, {-1: "silent"}, said=("trips-at-once",))[0] == "short"


def test_row_10_cuts_out_later_means_overload() -> None:
    plan = line(amplifier_w=60.0)
    verdict = judged(plan, quantity="impedance", value=70.0, direction="whole", frequency_hz=1000.0)
    assert any("overload" in reason for reason in verdict.reasons)


def test_row_19_ohms_20_percent_low_means_more_load() -> None:
    plan = line()
    verdict = judged(plan, quantity="impedance", value=55.0, direction="whole", frequency_hz=1000.0)
    assert verdict.status in {"look", "fail"}
    assert verdict.reasons[0].startswith("extra units, a tap set higher")
    assert "lossy transformers" in verdict.reasons[0]


def test_row_20_ohms_high_means_open_or_lower_taps_and_not_a_dc_meter() -> None:
    plan = line()
    verdict = judged(
        plan, quantity="impedance", value=180.0, direction="whole", frequency_hz=1000.0
    )
    assert verdict.status == "fail"
    assert verdict.reasons[0].startswith("an open branch")
    assert "dc reads lower" in verdict.reasons[0]
    shown = shows(plan, fault("open", 5), RACK)
    assert suspicion(plan, shown, said=("ohms-high",))[0] == "open"


def test_row_21_a_few_ohms_dc_is_no_fault() -> None:
    verdict = judged(line(), quantity="dc resistance", value=3.1)
    assert verdict.status == "noted"
    assert "windings" in verdict.reasons[0]
    odd = judged(line(), quantity="impedance", value=4.0, direction="whole", frequency_hz=1000.0)
    assert any("dc" in reason for reason in odd.reasons)


def test_row_22_a_burning_control_means_its_rating() -> None:
    assert "over its rating" in symptom("control-burns").first


def test_row_28_wrong_mode_after_power_up_means_an_open_line() -> None:
    plan = line()
    shown = (Shown(look=RACK, value=20_000.0, bound=">"),)
    assert suspicion(plan, shown, said=("restarts-wrong",)) == ("open", 0)
    assert "open then" in symptom("restarts-wrong").first


def test_every_symptom_names_kinds_that_exist() -> None:
    from soffit.measure.suspects import fault_kinds

    for entry in symptoms().values():
        assert set(entry.kinds) <= set(fault_kinds())


@pytest.mark.parametrize("word", ["loud", "faint", "silent", "distorted", "rattle"])
def test_every_word_of_the_ear_has_a_reason_and_a_next_step(word: str) -> None:
    verdict = judged(line(), place_key="s3", quantity="ear", word=word)
    assert verdict.status in {"look", "fail"}
    assert verdict.reasons[0]
    assert verdict.next_step
