"""A small invented job in memory, and everything computed from it, for tests of checks."""

import itertools
from dataclasses import replace
from typing import Any

from soffit.check.kit import LowSound
from soffit.check.registry import run_checks
from soffit.errors import SoffitError
from soffit.evaluate.ceiling import evaluate_ceiling
from soffit.evaluate.line import evaluate_line
from soffit.evaluate.line_sweep import sweep_line
from soffit.evaluate.sound import sound_state
from soffit.job.catalogue import load_demo_catalogue
from soffit.model.catalogue import Catalogue, SpeakerType, Tap
from soffit.model.decisions import Design, Job, Survey
from soffit.model.findings import Finding
from soffit.model.lines import Amplifier, Channel, Line, Run
from soffit.model.speakers import Speaker, TileRef
from soffit.model.survey import (
    Brief,
    Ceiling,
    Door,
    Grid,
    ListeningArea,
    Noise,
    Obstacle,
    Rack,
    Room,
    Site,
    Storey,
    Surface,
)
from soffit.model.zones import Zone

PITCH_M = 0.6


def square(x: float, y: float, size: float = 0.1) -> tuple[tuple[float, float], ...]:
    """Return a square obstacle around a point."""
    half = size / 2
    return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def obstacle(kind: str, x: float, y: float, size: float = 0.1, **more: Any) -> Obstacle:
    """Return an obstacle of the room."""
    values: dict[str, Any] = {
        "key": f"o-{kind}",
        "label": f"the {kind}",
        "room_key": "r",
        "kind": kind,
        "outline": square(x, y, size),
    }
    return Obstacle(**(values | more))


def tile_centre(column: int, row: int) -> tuple[float, float]:
    """Return the middle of a tile."""
    return (column + 0.5) * PITCH_M, (row + 0.5) * PITCH_M


def clean_speaker(number: int, column: int, row: int) -> Speaker:
    """Return speaker ``number`` in the middle of a tile."""
    return Speaker(
        key=f"s{number}",
        label=f"L1-{number:02d}",
        room_key="r",
        ceiling_key="c",
        type_id="ceiling-6",
        position=tile_centre(column, row),
        tile=TileRef(column=column, row=row),
        mount_height_m=3.0,
        tap=Tap(power_w=7.5, voltage_v=100.0, mark="A"),
        line_key="l",
    )


def clean_job() -> Job:
    """Return a job with as little against it as possible."""
    room = Room(
        key="r",
        label="Reading room",
        storey_key="g",
        outline=((0.0, 0.0), (7.2, 0.0), (7.2, 6.0), (0.0, 6.0)),
        ceilings=(
            Ceiling(
                key="c",
                kind="grid",
                height_m=3.0,
                void_depth_m=0.5,
                structure_height_m=3.8,
                tile_mass_kg_m2=4.0,
                grid=Grid(
                    origin=(0.0, 0.0), pitch_x_m=PITCH_M, pitch_y_m=PITCH_M, load_class="heavy"
                ),
            ),
        ),
        surfaces=(
            Surface(part="floor", material="carpet_on_concrete"),
            Surface(part="walls", material="gypsum_board_on_studs"),
            Surface(part="ceiling", material="mineral_fibre_tile_ordinary"),
            Surface(part="furniture", material="carpet_on_concrete", area_m2=5.0),
        ),
        noise=Noise(kind="dba", value=40.0, source="measured"),
        brief=Brief(programme="background music", level_dba=62.0, evenness_db=4.0),
        listening_areas=(ListeningArea(key="ears"),),
        doors=(Door(key="d", label="door", position=(3.6, 0.0)),),
    )
    speakers = tuple(
        clean_speaker(number, column, row)
        for number, (column, row) in enumerate(((2, 2), (8, 2), (8, 7), (2, 7)), 1)
    )
    keys = ["rack", *(speaker.key for speaker in speakers)]
    runs = tuple(
        Run(
            key=f"run{number}",
            label=f"L1/{number}",
            start_key=start,
            end_key=end,
            length_m=6.0,
            cable_id="mm150-cca",
        )
        for number, (start, end) in enumerate(itertools.pairwise(keys), 1)
    )
    line = Line(
        key="l",
        label="L1",
        voltage_v=100.0,
        zone_keys=("z",),
        rack_key="rack",
        speaker_keys=tuple(keys[1:]),
        runs=runs,
        high_pass_hz=80.0,
    )
    survey = Survey(
        site=Site(name="Test job", region="other", is_invented=True),
        storeys=(Storey(key="g", label="Ground floor"),),
        rooms=(room,),
        zones=(Zone(key="z", label="Zone 1", room_keys=("r",)),),
        racks=(Rack(key="rack", label="Rack", position=(0.5, 0.5), storey_key="g"),),
    )
    amplifier = Amplifier(
        key="a",
        label="A1",
        type_id="amp-60",
        rack_key="rack",
        channels=(Channel(number=1, line_keys=("l",)),),
    )
    return Job(
        survey=survey,
        catalogue=own_wires(load_demo_catalogue()),
        design=Design(speakers=speakers, lines=(line,), amplifiers=(amplifier,)),
        job_hash="abc",
    )


def own_wires(catalogue: Catalogue) -> Catalogue:
    """Return a catalogue whose safety wires come in the length that the clean job needs."""
    wire = replace(catalogue.hardware("wire-1m"), id="wire-test", length_m=1.0)
    others = tuple(item for item in catalogue.hardware_types if item.kind != "safety wire")
    return replace(catalogue, hardware_types=(*others, wire))


def bare_job() -> Job:
    """Return a job that asks for nothing: no speaker, no line, no zone."""
    job = clean_job()
    room = replace(job.survey.room("r"), brief=Brief(programme="background music"), surfaces=())
    return replace(
        job,
        survey=replace(job.survey, rooms=(room,), zones=()),
        design=Design(),
    )


def with_room(job: Job, **changes: Any) -> Job:
    """Return the job with its room changed."""
    room = replace(job.survey.room("r"), **changes)
    return replace(job, survey=replace(job.survey, rooms=(room,)))


def with_ceiling(job: Job, **changes: Any) -> Job:
    """Return the job with its ceiling changed."""
    return with_room(job, ceilings=(replace(job.survey.ceiling("r", "c"), **changes),))


def with_grid(job: Job, **changes: Any) -> Job:
    """Return the job with its grid changed."""
    grid = job.survey.ceiling("r", "c").grid
    assert grid is not None
    return with_ceiling(job, grid=replace(grid, **changes))


def with_brief(job: Job, **changes: Any) -> Job:
    """Return the job with its brief changed."""
    return with_room(job, brief=replace(job.survey.room("r").brief, **changes))


def with_site(job: Job, **changes: Any) -> Job:
    """Return the job with its site changed."""
    return replace(job, survey=replace(job.survey, site=replace(job.survey.site, **changes)))


def with_survey(job: Job, **changes: Any) -> Job:
    """Return the job with its survey changed."""
    return replace(job, survey=replace(job.survey, **changes))


def with_design(job: Job, **changes: Any) -> Job:
    """Return the job with its design changed."""
    return replace(job, design=replace(job.design, **changes))


def with_speaker(job: Job, number: int = 1, **changes: Any) -> Job:
    """Return the job with one speaker changed."""
    speakers = list(job.design.speakers)
    speakers[number - 1] = replace(speakers[number - 1], **changes)
    return with_design(job, speakers=tuple(speakers))


def with_line(job: Job, **changes: Any) -> Job:
    """Return the job with its line changed."""
    return with_design(job, lines=(replace(job.design.lines[0], **changes),))


def with_runs(job: Job, **changes: Any) -> Job:
    """Return the job with all runs of its line changed."""
    runs = tuple(replace(run, **changes) for run in job.design.lines[0].runs)
    return with_line(job, runs=runs)


def with_amplifier(job: Job, type_id: str, **changes: Any) -> Job:
    """Return the job with another amplifier."""
    amplifier = replace(job.design.amplifiers[0], type_id=type_id, **changes)
    return with_design(job, amplifiers=(amplifier,))


def with_type(job: Job, type_id: str = "ceiling-6", **changes: Any) -> Job:
    """Return the job with one loudspeaker type of its catalogue changed."""
    types = tuple(
        replace(entry, **changes) if entry.id == type_id else entry
        for entry in job.catalogue.speaker_types
    )
    return replace(job, catalogue=replace(job.catalogue, speaker_types=types))


def with_entry(job: Job, table: str, entry_id: str, **changes: Any) -> Job:
    """Return the job with one entry of another table of its catalogue changed."""
    entries = tuple(
        replace(entry, **changes) if entry.id == entry_id else entry
        for entry in getattr(job.catalogue, table)
    )
    return replace(job, catalogue=replace(job.catalogue, **{table: entries}))


def all_of_type(job: Job, type_id: str, tap: Tap | None = None, **changes: Any) -> Job:
    """Return the job with every speaker of another type."""
    entry: SpeakerType = job.catalogue.speaker(type_id)
    own = tap or entry.taps_at(100.0)[0]
    speakers = tuple(
        replace(speaker, type_id=type_id, tap=own, **changes) for speaker in job.design.speakers
    )
    return with_design(job, speakers=speakers)


def findings_of(
    job: Job,
    *,
    low: tuple[LowSound, ...] = (),
    without_sound: bool = False,
    more: tuple[Finding, ...] = (),
) -> tuple[Finding, ...]:
    """Compute everything and run every check."""
    design = job.design
    lines, sweeps, failed = {}, {}, []
    for line in design.lines:
        try:
            lines[line.key] = evaluate_line(
                line, design.speakers, job.catalogue, conductor_degc=40.0
            )
            if line.topology != "ring":
                sweeps[line.key] = sweep_line(
                    line, design.speakers, job.catalogue, conductor_degc=40.0
                )
        except SoffitError as error:
            failed.append((line.key, error.problems[0].what))
    sound = None
    if not without_sound:
        sound = sound_state(job.survey, job.catalogue, design.speakers)
    return run_checks(
        job,
        ceiling_state=evaluate_ceiling(job.survey, design.speakers, job.catalogue),
        lines=lines,
        sweeps=sweeps,
        sound_state=sound,
        low_states=low,
        failed=failed,
        more=more,
    )


def codes_of(job: Job, **more: Any) -> set[str]:
    """Return the codes that a job raises."""
    return {finding.code for finding in findings_of(job, **more)}
