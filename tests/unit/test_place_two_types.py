"""Two ceilings of one room with a type each: one front of both, figures of both together."""

from dataclasses import replace
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest

from soffit.design.place import option_speakers
from soffit.design.place_ceiling import search_ceiling
from soffit.design.place_mix import gains_tried, mix_of
from soffit.design.place_question import make_question, mixed_plan
from soffit.design.place_search import spread_of
from soffit.errors import JobError, NoSolutionError
from soffit.evaluate.sound import room_sound
from soffit.job.api import open_job
from soffit.model.decisions import Job, Option
from soffit.work.decide_room import layout_questions
from soffit.work.demo import make_demo
from soffit.work.layout_question import Search
from soffit.work.make_design import decide

TYPES = ("ceiling-8", "ceiling-6")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo("library", tmp_path_factory.mktemp("two") / "library")


@pytest.fixture(scope="module")
def job(folder: Path) -> Job:
    """The workroom with its ceiling cut in two halves, a type each."""
    made = open_job(folder)
    room = made.survey.room("workroom")
    x, y = zip(*room.outline, strict=True)
    middle = (min(x) + max(x)) / 2
    halves = []
    for number, (left, right) in enumerate(((min(x), middle), (middle, max(x)))):
        ring = ((left, min(y)), (right, min(y)), (right, max(y)), (left, max(y)))
        halves.append(
            replace(room.ceilings[0], key=f"half{number}", region=ring, speaker_type=TYPES[number])
        )
    cut = replace(room, ceilings=tuple(halves))
    rooms = tuple(cut if item.key == "workroom" else item for item in made.survey.rooms)
    return replace(made, survey=replace(made.survey, rooms=rooms))


def with_brief(job: Job, **brief: object) -> Job:
    rooms = tuple(
        replace(room, brief=replace(room.brief, **brief)) if room.key == "workroom" else room
        for room in job.survey.rooms
    )
    return replace(job, survey=replace(job.survey, rooms=rooms))


def heard_db(job: Job, speakers) -> tuple[float, float]:
    """Spread of the brief's measure and of the whole field, by the public function."""
    room = job.survey.room("workroom")
    sound = room_sound(
        room,
        job.catalogue,
        speakers,
        limits=job.survey.limits,
        line_voltage_v=job.survey.site.line_voltage_v,
    )
    return sound.evenness["direct 4 kHz"].spread_db, sound.evenness["whole 4 kHz"].spread_db


def hung(job: Job, option: Option):
    return option_speakers(
        job.survey.room("workroom"),
        option,
        speaker_type=job.catalogue.speaker(TYPES[0]),
        line_voltage_v=job.survey.site.line_voltage_v,
        keys=[f"s{number}" for number in range(len(option.positions))],
        limits=job.survey.limits,
        catalogue=job.catalogue,
    )


def test_each_ceiling_gets_its_type_and_the_figures_are_those_of_both(job: Job) -> None:
    design, _ = decide(job, rooms=["workroom"], search=Search(proof_s=1.0))
    here = [speaker for speaker in design.speakers if speaker.room_key == "workroom"]
    assert {(s.ceiling_key, s.type_id) for s in here} == {
        ("half0", TYPES[0]),
        ("half1", TYPES[1]),
    }
    decision = next(item for item in design.rooms if item.room_key == "workroom")
    (chosen,) = [item for item in decision.options if item.mark == "chosen"]
    assert chosen.count == len(here)
    assert chosen.watts_w == pytest.approx(sum(speaker.tap.power_w for speaker in here))
    assert (chosen.spread_db, chosen.whole_spread_db) == pytest.approx(
        heard_db(job, here), abs=1e-3
    )
    assert decision.bound.startswith("none: a proof covers one type")


def test_every_point_of_the_joint_front_is_what_one_would_hear(job: Job) -> None:
    (question,) = layout_questions(job, job.survey.room("workroom"))
    found = question.answer()
    assert found.is_mixed
    assert len({option.count for option in found.options}) > 5
    both = [option for option in found.options if len(set(option.types)) == 2]
    assert len(both) > 8
    for option in both:
        speakers = hung(job, option)
        assert [s.type_id for s in speakers] == list(option.types)
        assert all(s.ceiling_key == f"half{TYPES.index(s.type_id)}" for s in speakers), (
            "each type under its own ceiling"
        )
        now = heard_db(job, speakers)
        assert (option.spread_db, option.whole_spread_db) == pytest.approx(now, abs=5e-3)
        assert option.watts_w == pytest.approx(sum(s.tap.power_w for s in speakers))
    assert {o.mark for o in found.options if o.mark.startswith("hand rule")} >= {
        f"hand rule {ratio} footprint, rows {rows}"
        for ratio in ("1.00", "0.71", "0.50")
        for rows in ("aligned", "offset")
    }


def test_the_joint_front_is_the_best_of_all_pairs_and_tap_ratios(job: Job) -> None:
    """Every pair of what either ceiling offers, at every ratio tried, summed by hand."""
    room = job.survey.room("workroom")
    (question,) = layout_questions(job, room)
    voices = tuple(
        make_question(
            room,
            speaker_type=job.catalogue.speaker(type_id),
            voltage_v=job.survey.site.line_voltage_v,
            obstacles=job.survey.obstacles_in("workroom"),
            catalogue=job.catalogue,
            placed=(),
            limits=job.survey.limits,
            family=None,
            is_imperial=False,
        )
        for type_id in TYPES
    )
    mix = mix_of(voices)
    parts, voice = mixed_plan(voices, mix.fields, (0, 1))
    asked = 2.0 * room.brief.evenness_db
    searches = [
        search_ceiling(
            part, family=voices[0].family, share=0.95, enough_db=0.6 * asked, most_speakers=2000
        )
        for part in parts
    ]
    pools = [
        [None, *(item.layout for item in search.every() if item.layout.count <= 4)]
        for search in searches
    ]
    sums = [
        [
            0.0
            if layout is None
            else mix.fields[k].columns(search.part.sites.site_m(layout.column, layout.row)).sum(0)
            for layout in pool
        ]
        for k, (search, pool) in enumerate(zip(searches, pools, strict=True))
    ]
    best: dict[int, float] = {}
    for _, gain in gains_tried(voices, searches, voice):
        for (one, a), (two, b) in product(
            zip(pools[0], sums[0], strict=True), zip(pools[1], sums[1], strict=True)
        ):
            count = sum(layout.count for layout in (one, two) if layout is not None)
            if count:
                spread = spread_of(a + gain * np.asarray(b), 0.95)
                best[count] = min(best.get(count, np.inf), spread)
    found = question.answer()
    for count in (2, 3, 4):
        ours = min(o.spread_db for o in found.options if o.count == count)
        assert ours == pytest.approx(best[count], abs=2e-3)


def test_a_count_and_a_spacing_are_answered_with_two_types(job: Job) -> None:
    (question,) = layout_questions(
        with_brief(job, count=9), with_brief(job, count=9).survey.room("workroom")
    )
    found = question.answer()
    assert found.chosen.count == 9
    assert "the brief names 9 speakers: it passes" in found.reason
    spaced = with_brief(job, spacing_m=2.4)
    (question,) = layout_questions(spaced, spaced.survey.room("workroom"))
    found = question.answer()
    assert "the specification names its spacing: it passes" in found.reason
    for type_id in TYPES:
        layout = zip(found.chosen.positions, found.chosen.types, strict=True)
        mine = [place for place, of in layout if of == type_id]
        apart = [np.hypot(a[0] - b[0], a[1] - b[1]) for a, b in combinations(mine, 2)]
        # Each place on the nearest tile: half a tile either way.
        assert min(apart) == pytest.approx(2.4, abs=0.65)


def test_a_type_that_is_not_in_the_catalogue_is_refused(folder: Path, tmp_path: Path) -> None:
    text = (folder / "job.toml").read_text(encoding="utf-8")
    at = text.index("[[rooms.workroom.ceilings]]") if "[[rooms.workroom.ceilings]]" in text else -1
    line = '[[rooms.workroom.ceilings]]\nspeaker_type = "no-such"\n'
    if at < 0:
        text += "\n" + line
    else:
        text = text.replace("[[rooms.workroom.ceilings]]\n", line, 1)
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        open_job(tmp_path)
    assert any("speaker_type" in problem.where for problem in caught.value.problems)


def with_types(job: Job, *names: str) -> Job:
    """Each half with a type of the catalogue, which has one without taps and one too large."""
    kind = job.catalogue.speaker(TYPES[0])
    silent = replace(kind, id="no-taps", taps=(replace(kind.taps[0], voltage_v=25.0),))
    large = replace(kind, id="too-large", flange_diameter_m=3.0, cutout_diameter_m=2.9)
    catalogue = replace(job.catalogue, speaker_types=(*job.catalogue.speaker_types, silent, large))
    room = job.survey.room("workroom")
    halves = tuple(
        replace(ceiling, speaker_type=name)
        for ceiling, name in zip(room.ceilings, names, strict=True)
    )
    rooms = tuple(
        replace(room, ceilings=halves) if item.key == "workroom" else item
        for item in job.survey.rooms
    )
    return replace(job, catalogue=catalogue, survey=replace(job.survey, rooms=rooms))


@pytest.mark.parametrize("names", [("no-taps", TYPES[1]), (TYPES[1], "no-taps")])
def test_a_type_without_a_tap_at_the_line_voltage_is_refused(job: Job, names) -> None:
    with pytest.raises(NoSolutionError) as caught:
        decide(with_types(job, *names), rooms=["workroom"])
    (problem,) = caught.value.problems
    assert "no-taps has no tap" in problem.what
    assert f"ceilings[{names.index('no-taps')}].speaker_type" in problem.where
    assert "25 V" in problem.why
    assert problem.do


def test_a_subwoofer_is_not_the_type_of_a_ceiling_or_a_room(job: Job) -> None:
    room = job.survey.room("workroom")
    brief = replace(room.brief, speaker_type="ceiling-sub")
    plain = tuple(replace(ceiling, speaker_type=None) for ceiling in room.ceilings)
    asked = replace(room, brief=brief, ceilings=plain)
    rooms = tuple(asked if item.key == "workroom" else item for item in job.survey.rooms)
    whole = replace(job, survey=replace(job.survey, rooms=rooms))
    half = with_types(job, "ceiling-sub", TYPES[1])
    for one, at in ((whole, "brief.speaker_type"), (half, "ceilings[0].speaker_type")):
        with pytest.raises(NoSolutionError) as caught:
            decide(one, rooms=["workroom"])
        (problem,) = caught.value.problems
        assert "ceiling-sub is a subwoofer" in problem.what
        assert at in problem.where
        assert problem.do


@pytest.mark.parametrize("names", [("too-large", TYPES[1]), (TYPES[1], "too-large")])
def test_a_ceiling_without_a_place_for_its_type_stays_empty(job: Job, names) -> None:
    design, findings = decide(with_types(job, *names), rooms=["workroom"])
    here = [speaker for speaker in design.speakers if speaker.room_key == "workroom"]
    assert {speaker.type_id for speaker in here} == {TYPES[1]}
    assert {speaker.ceiling_key for speaker in here} == {f"half{names.index(TYPES[1])}"}
    (finding,) = [item for item in findings if item.code == "PLACE-01"]
    assert "no arrangement of its types" in finding.why


def test_three_types_in_one_room_have_taps_that_exist(job: Job) -> None:
    room = job.survey.room("workroom")
    x, y = zip(*room.outline, strict=True)
    cuts = np.linspace(min(x), max(x), 4)
    kind = job.catalogue.speaker(TYPES[0])
    odd = replace(
        kind,
        id="odd-taps",
        taps=tuple(
            replace(tap, power_w=1.3 * tap.power_w)
            for tap in kind.taps_at(job.survey.site.line_voltage_v)
        ),
    )
    names = (*TYPES, "odd-taps")
    parts = tuple(
        replace(
            room.ceilings[0],
            key=f"third{n}",
            region=((a, min(y)), (b, min(y)), (b, max(y)), (a, max(y))),
            speaker_type=name,
        )
        for n, (a, b, name) in enumerate(zip(cuts[:-1], cuts[1:], names, strict=True))
    )
    catalogue = replace(job.catalogue, speaker_types=(*job.catalogue.speaker_types, odd))
    rooms = tuple(
        replace(room, ceilings=parts) if item.key == "workroom" else item
        for item in job.survey.rooms
    )
    thirds = replace(job, catalogue=catalogue, survey=replace(job.survey, rooms=rooms))
    (question,) = layout_questions(thirds, thirds.survey.room("workroom"))
    found = question.answer()
    assert any(len(set(option.types)) == 3 for option in found.options)
    for option in found.options:
        speakers = hung(thirds, option)
        assert len(speakers) == len(option.positions)
        assert option.spread_db == pytest.approx(heard_db(thirds, speakers)[0], abs=5e-3)
