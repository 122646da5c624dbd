"""For every finding code, a job that raises it; see tests/unit/test_check_findings.py."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from soffit.check.kit import LowSound
from soffit.check.registry import check_of
from soffit.constants import LINE_70_V
from soffit.model.catalogue import Directivity, PolarTable, Tap
from soffit.model.decisions import Job, RoomDecision
from soffit.model.findings import Finding, Mend
from soffit.model.lines import Channel, Joint, Run
from soffit.model.speakers import TileRef
from soffit.model.survey import (
    Acceptance,
    Assumption,
    Equipment,
    Joists,
    Noise,
    PlacedSpeaker,
    Room,
    Storey,
    Surface,
)
from soffit.model.zones import Zone
from soffit.work.run_checks import letter_findings
from soffit_checked_job import (
    all_of_type,
    bare_job,
    clean_job,
    findings_of,
    obstacle,
    square,
    tile_centre,
    with_amplifier,
    with_brief,
    with_ceiling,
    with_design,
    with_entry,
    with_grid,
    with_line,
    with_room,
    with_runs,
    with_site,
    with_speaker,
    with_survey,
    with_type,
)

Raised = Callable[[], tuple[Finding, ...]]


def _job(make: Callable[[], Job]) -> Raised:
    return lambda: findings_of(make(), without_sound=True)


def _heard(make: Callable[[], Job]) -> Raised:
    """As ``_job``, the sound of the room computed as well."""
    return lambda: findings_of(make())


def _near(kind: str, gap_m: float, **more: object) -> Raised:
    """An obstacle beside speaker 1, ``gap_m`` from its trim."""

    def make() -> Job:
        x, y = tile_centre(2, 2)
        radius = clean_job().catalogue.speaker("ceiling-6").flange_diameter_m / 2
        item = obstacle(kind, x + radius + gap_m + 0.05, y, 0.1, **more)
        return with_survey(clean_job(), obstacles=(item,))

    return _job(make)


def _joists(y_offset: float) -> Job:
    joists = Joists(angle_rad=0.0, spacing_m=0.6, width_m=0.04, offset=(0.0, y_offset))
    return with_ceiling(
        clean_job(), kind="plasterboard", grid=None, joists=joists, tile_mass_kg_m2=None
    )


def _pendant(height_m: float, **more: object) -> Job:
    open_ceiling = with_ceiling(clean_job(), kind="open", grid=None, void_depth_m=None)
    return all_of_type(open_ceiling, "pendant-6", mount_height_m=height_m, **more)


def _pendant_by_sprinkler() -> Job:
    x, y = tile_centre(2, 2)
    item = obstacle("sprinkler", x + 0.55, y, 0.08, bottom_m=2.9, top_m=3.0)
    return with_survey(_pendant(2.6), obstacles=(item,))


def _heavy_grid() -> Job:
    """A subwoofer of 12 kg on an intermediate grid under heavy tiles."""
    job = with_ceiling(clean_job(), tile_mass_kg_m2=9.0, void_depth_m=0.6)
    job = all_of_type(with_grid(job, load_class="intermediate"), "ceiling-sub")
    return with_type(job, "ceiling-sub", support="rails")


def _very_heavy(mass_kg: float) -> Job:
    job = with_type(clean_job(), mass_kg=mass_kg)
    return with_site(job, seismic_category="D")


def _second_room(storey: str = "g") -> Room:
    room = clean_job().survey.room("r")
    outline = tuple((x + 10.0, y) for x, y in room.outline)
    return replace(
        room,
        key="r2",
        label="Other room",
        storey_key=storey,
        outline=outline,
        doors=(),
        ceilings=(replace(room.ceilings[0], key="c2"),),
    )


def _two_rooms(*, zoned: bool = False) -> Job:
    job = clean_job()
    zones = job.survey.zones
    if zoned:
        zones = (*zones, Zone(key="z2", label="Zone 2", room_keys=("r", "r2")))
    return with_survey(job, rooms=(*job.survey.rooms, _second_room()), zones=zones)


def _beside(tiles: int) -> Job:
    """Two units of 6 kg, so many tiles apart along the main runners of an intermediate grid."""
    job = with_grid(with_type(clean_job(), mass_kg=6.0), load_class="intermediate")
    for number, column in ((1, 2), (2, 2 + tiles)):
        job = with_speaker(
            job, number, position=tile_centre(column, 2), tile=TileRef(column=column, row=2)
        )
    return job


def _box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _with_other_room(outline: tuple[tuple[float, float], ...]) -> Job:
    job = clean_job()
    return with_survey(
        job, rooms=(*job.survey.rooms, replace(_second_room(), outline=outline, holes=()))
    )


def _two_ceilings(*regions: tuple[tuple[float, float], ...]) -> Job:
    own = clean_job().survey.ceiling("r", "c")
    return with_room(
        clean_job(),
        ceilings=tuple(
            replace(own, key="c" if number == 0 else f"c{number}", region=region)
            for number, region in enumerate(regions)
        ),
    )


def _two_storeys() -> Job:
    job = with_site(_two_rooms(), region="US")
    job = with_survey(
        job,
        rooms=(job.survey.rooms[0], _second_room("first")),
        storeys=(*job.survey.storeys, Storey(key="first", label="First floor", elevation_m=4.0)),
    )
    job = with_speaker(job, 4, room_key="r2", ceiling_key="c2", position=(11.5, 1.5), tile=None)
    runs = tuple(
        replace(run, cable_id="awg16-general", length_m=15.0) for run in job.design.lines[0].runs
    )
    general = replace(job.catalogue.cable("awg16-riser"), id="awg16-general", jacket="CL3")
    catalogue = replace(job.catalogue, cable_types=(*job.catalogue.cable_types, general))
    return replace(with_line(job, runs=runs), catalogue=catalogue)


def _volume_control(rated_w: float) -> Job:
    job = clean_job()
    line = job.design.lines[0]
    joint = Joint(
        key="vc",
        label="V1",
        position=(1.0, 1.0),
        storey_key="g",
        kind="volume control",
        rated_power_w=rated_w,
    )
    first = replace(line.runs[0], end_key="vc")
    second = Run(
        key="run0",
        label="L1/0",
        start_key="vc",
        end_key="s1",
        length_m=3.0,
        cable_id="mm150-cca",
    )
    return with_line(job, runs=(first, second, *line.runs[1:]), joints=(joint,))


def _us(job: Job) -> Job:
    return with_site(job, region="US")


def _us_cable(cable_id: str, **site: object) -> Job:
    return with_site(with_runs(clean_job(), cable_id=cable_id), region="US", **site)


def _class_one() -> Job:
    return with_entry(_us_cable("awg16-riser"), "amplifier_types", "amp-60", class_mark="1")


def _plenum(**type_changes: object) -> Job:
    return with_type(with_ceiling(_us_cable("awg16-riser"), is_plenum=True), **type_changes)


def _polar(**changes: object) -> Job:
    good = PolarTable(
        angle_rad=tuple(np.radians(np.arange(0, 91, 10))),
        level_db=tuple(
            (0.0, -0.5, -1.0, -2.0, -3.0, -4.0, -5.0, -6.0, -7.0, -8.0) for _ in range(8)
        ),
    )
    table = replace(good, **changes)
    return with_type(clean_job(), directivity=Directivity(model="polar", polar=(table,)))


def _taps(*taps: Tap) -> Job:
    return with_type(clean_job(), taps=(Tap(power_w=7.5, voltage_v=100.0, mark="A"), *taps))


def _sub(**changes: object) -> Job:
    """Speaker 1 is a subwoofer."""
    job = with_ceiling(clean_job(), void_depth_m=0.6)
    tap = job.catalogue.speaker("ceiling-sub").taps_at(100.0)[0]
    return with_type(with_speaker(job, 1, type_id="ceiling-sub", tap=tap), "ceiling-sub", **changes)


def _passed_on(code: str) -> Raised:
    entry = check_of(code)
    mends = (Mend(kind="move", target_key="s1", value="3,3", text="move it"),)
    finding = Finding(
        code=code,
        severity=entry.severity,
        place="Reading room",
        what="said by the choice of subwoofers",
        do=entry.do,
        mends=mends if entry.has_mend else (),
    )
    return lambda: findings_of(clean_job(), without_sound=True, more=(finding,))


_HARD_UNDER_TILES = (
    Surface(part="floor", material="painted_concrete"),
    Surface(part="walls", material="painted_concrete"),
    Surface(part="ceiling", material="mineral_fibre_tile"),
    Surface(part="furniture", material="painted_concrete", area_m2=1.0),
)
_LOW = LowSound(room_key="r", tilt_db=9.0, wanted_tilt_db=3.0, deviation_db=5.0)


def _strange_letters() -> tuple[Finding, ...]:
    job = with_site(clean_job(), customer="中央図書館")
    return findings_of(job, more=letter_findings(job))


RAISED: dict[str, Raised] = {
    # the job as a whole
    "JOB-01": _job(
        lambda: with_survey(
            clean_job(),
            assumptions=(Assumption(path="rooms.r.noise", text="40 dBA taken", source="table"),),
        )
    ),
    "JOB-02": _job(_two_rooms),
    "JOB-03": _job(lambda: _two_rooms(zoned=True)),
    "JOB-04": _job(_two_rooms),
    "JOB-05": _job(
        lambda: with_design(
            clean_job(), rooms=(RoomDecision(room_key="r", reason="x", is_reproducible=False),)
        )
    ),
    "JOB-06": _job(
        lambda: with_design(
            clean_job(), rooms=(RoomDecision(room_key="r", reason="x", not_kept=("tap of s1",)),)
        )
    ),
    "JOB-07": _job(lambda: with_design(clean_job(), job_hash="old")),
    "JOB-08": _job(lambda: with_speaker(clean_job(), 2, label="L1-01")),
    "JOB-09": _job(
        lambda: with_design(
            clean_job(), speakers=(*clean_job().design.speakers, clean_job().design.speakers[0])
        )
    ),
    "JOB-10": _job(
        lambda: with_survey(clean_job(), equipment=Equipment(speaker_types=("ceiling-4",)))
    ),
    "JOB-11": _job(lambda: with_site(clean_job(), is_invented=False)),
    "JOB-12": _job(lambda: with_room(clean_job(), doors=())),
    "JOB-13": _job(lambda: with_speaker(clean_job(), state="existing")),
    "JOB-14": _job(
        lambda: with_survey(
            clean_job(),
            acceptances=(
                Acceptance(code="CEIL-08", place="L1-01", role="architect", reason="known"),
            ),
        )
    ),
    "JOB-15": _job(lambda: with_survey(clean_job(), racks=())),
    "JOB-16": _job(
        lambda: with_survey(
            clean_job(),
            placed=(
                PlacedSpeaker(key="s1", room_key="r", type_id="ceiling-4", position=(1.5, 1.5)),
            ),
        )
    ),
    "JOB-17": _job(lambda: with_brief(clean_job(), count=6)),
    "JOB-18": _job(lambda: _with_other_room(clean_job().survey.room("r").outline)),
    "JOB-19": _job(lambda: _with_other_room(_box(6.0, 0.0, 12.0, 6.0))),
    "JOB-20": _job(lambda: _two_ceilings(_box(0.0, 0.0, 4.0, 6.0), _box(3.0, 0.0, 7.2, 6.0))),
    "JOB-21": _job(lambda: _two_ceilings(_box(0.0, 0.0, 4.0, 6.0), _box(4.0, 0.0, 6.5, 6.0))),
    "JOB-22": _job(
        lambda: with_survey(
            clean_job(),
            rooms=(
                clean_job().survey.room("r"),
                replace(_second_room(), label="reading  Room"),
            ),
        )
    ),
    "JOB-23": _job(lambda: with_room(clean_job(), holes=(_box(3.0, 0.0, 3.4, 6.0),))),
    "JOB-24": _job(
        lambda: with_line(
            clean_job(),
            runs=(
                *clean_job().design.lines[0].runs[:-1],
                replace(clean_job().design.lines[0].runs[-1], end_key="s99"),
            ),
        )
    ),
    # holes, tiles, voids, heights
    "CEIL-01": _job(lambda: with_speaker(clean_job(), position=(9.0, 1.5))),
    "CEIL-02": _job(
        lambda: with_speaker(
            with_grid(clean_job(), origin=(-0.595, 0.0)), position=(0.004, 1.5), tile=None
        )
    ),
    "CEIL-03": _job(
        lambda: with_speaker(with_grid(clean_job(), origin=(0.3, 0.0)), position=(0.15, 1.5))
    ),
    "CEIL-04": _job(lambda: with_speaker(clean_job(), position=(1.8, 1.5))),
    "CEIL-05": _job(lambda: with_speaker(clean_job(), position=(1.5 + 0.165, 1.5))),
    "CEIL-06": _job(lambda: _joists(1.5)),
    "CEIL-07": _job(lambda: _joists(1.5 + 0.108 + 0.02 + 0.005)),
    "CEIL-08": _job(
        lambda: with_survey(
            clean_job(),
            obstacles=(obstacle("duct", *tile_centre(2, 2), 0.3, bottom_m=3.15, top_m=3.4),),
        )
    ),
    "CEIL-09": _job(lambda: with_ceiling(clean_job(), void_depth_m=None, structure_height_m=None)),
    "CEIL-10": _job(lambda: with_speaker(clean_job(), 2, position=(1.5 + 0.05, 1.5))),
    "CEIL-11": _job(lambda: with_speaker(clean_job(), 2, position=(1.5 + 0.26, 1.5))),
    "CEIL-12": _job(lambda: with_speaker(clean_job(), position=(1.53, 1.5))),
    "CEIL-13": _job(lambda: with_ceiling(clean_job(), slope_ratio=0.1, slope_at=(3.6, 3.0))),
    "CEIL-14": _job(
        lambda: with_survey(
            _two_rooms(),
            rooms=(
                clean_job().survey.rooms[0],
                with_grid(
                    with_survey(clean_job(), rooms=clean_job().survey.rooms), pitch_x_m=0.6096
                ).survey.rooms[0],
            ),
        )
    ),
    "CEIL-15": _job(lambda: with_grid(clean_job(), pitch_x_m=0.595)),
    "CEIL-16": _job(lambda: with_ceiling(clean_job(), kind="open", grid=None)),
    "CEIL-17": _job(lambda: _pendant(2.0)),
    "CEIL-18": _job(
        lambda: with_speaker(
            with_ceiling(clean_job(), height_m=4.5, structure_height_m=5.0), mount_height_m=4.5
        )
    ),
    "CEIL-19": _job(lambda: with_ceiling(clean_job(), height_source="assumed")),
    "CEIL-20": _job(lambda: with_speaker(clean_job(), mount_height_m=2.6)),
    "CEIL-21": _job(lambda: _joists(0.0)),
    "CEIL-22": _job(lambda: with_speaker(_joists(0.0), position=(1.5, 0.2))),
    # clearances
    "CLEAR-01": _near("light", -0.05),
    "CLEAR-02": _near("sprinkler", 0.05),
    "CLEAR-03": _job(_pendant_by_sprinkler),
    "CLEAR-04": _near("air outlet", 0.1),
    "CLEAR-05": _near("detector", 0.1),
    "CLEAR-06": _near("light", 0.01),
    "CLEAR-07": _near("curtain", 0.1),
    "CLEAR-08": _near("sign", 0.01),
    "CLEAR-09": _job(
        lambda: with_survey(clean_job(), obstacles=(obstacle("other", 5.0, 5.0, doubt="a symbol"),))
    ),
    # weight
    "WEIGHT-01": _job(lambda: with_type(clean_job(), mass_kg=30.0)),
    "WEIGHT-02": _job(lambda: with_grid(clean_job(), load_class="light")),
    "WEIGHT-03": _job(_heavy_grid),
    "WEIGHT-13": _job(lambda: _beside(1)),
    "WEIGHT-04": _job(lambda: with_grid(clean_job(), load_class="unknown")),
    "WEIGHT-05": _job(lambda: with_ceiling(clean_job(), tile_mass_kg_m2=19.4)),
    "WEIGHT-06": _job(lambda: _very_heavy(6.0)),
    "WEIGHT-07": _job(lambda: _very_heavy(26.0)),
    "WEIGHT-08": _job(lambda: with_ceiling(clean_job(), tile_mass_kg_m2=None)),
    "WEIGHT-09": _job(lambda: with_ceiling(clean_job(), structure_height_m=9.0)),
    "WEIGHT-10": _job(lambda: with_ceiling(clean_job(), structure_height_m=None)),
    "WEIGHT-11": _job(lambda: with_type(_joists(0.0), mass_kg=20.0)),
    "WEIGHT-12": _job(lambda: with_ceiling(clean_job(), structure_height_m=3.5)),
    # lines
    "LINE-01": _job(lambda: with_runs(clean_job(), length_m=300.0)),
    "LINE-02": _job(lambda: with_runs(clean_job(), length_m=500.0)),
    "LINE-03": _job(lambda: with_line(clean_job(), runs=clean_job().design.lines[0].runs[:2])),
    "LINE-04": _job(
        lambda: with_speaker(clean_job(), tap=Tap(power_w=7.5, voltage_v=LINE_70_V, mark="B"))
    ),
    "LINE-05": _job(lambda: with_speaker(clean_job(), tap=Tap(power_w=9.0, voltage_v=100.0))),
    "LINE-06": _job(
        lambda: with_type(clean_job(), taps=(Tap(power_w=8.0, voltage_v=25.0, mark="A"),))
    ),
    "LINE-07": _job(
        lambda: with_speaker(
            with_type(clean_job(), rated_power_w=20.0),
            tap=Tap(power_w=30.0, voltage_v=100.0, mark="C"),
        )
    ),
    "LINE-08": _job(
        lambda: with_design(
            clean_job(),
            speakers=(
                *clean_job().design.speakers,
                replace(
                    clean_job().design.speakers[0], key="s9", label="L1-09", position=(4.5, 3.3)
                ),
            ),
        )
    ),
    "LINE-09": _job(lambda: with_runs(clean_job(), length_m=300.0)),
    "LINE-10": _job(
        lambda: with_survey(
            clean_job(),
            limits=type(clean_job().survey.limits)((("speakers_per_line_most", 3.0),)),
        )
    ),
    "LINE-11": _job(lambda: with_line(clean_job(), high_pass_hz=None)),
    "LINE-12": _job(lambda: with_line(_two_rooms(zoned=True), zone_keys=("z", "z2"))),
    "LINE-13": _job(lambda: _volume_control(20.0)),
    "LINE-14": _job(lambda: with_line(clean_job(), topology="ring")),
    "LINE-15": _job(
        lambda: with_speaker(clean_job(), tap=Tap(power_w=30000.0, voltage_v=100.0, mark="A"))
    ),
    "LINE-16": _job(lambda: with_line(clean_job(), topology="as found")),
    "LINE-17": _job(lambda: _volume_control(50.0)),
    # amplifiers
    "AMP-01": _job(
        lambda: with_entry(clean_job(), "amplifier_types", "amp-60", channel_power_w=(20.0,))
    ),
    "AMP-02": _job(
        lambda: with_entry(
            with_entry(clean_job(), "amplifier_types", "amp-60", channel_power_w=(34.0,)),
            "speaker_types",
            "ceiling-6",
            tap_watt="drawn",
        )
    ),
    "AMP-03": _job(lambda: with_design(clean_job(), amplifiers=())),
    "AMP-04": _job(
        lambda: with_design(
            clean_job(),
            amplifiers=(
                *clean_job().design.amplifiers,
                replace(clean_job().design.amplifiers[0], key="a2", label="A2"),
            ),
        )
    ),
    "AMP-05": _job(
        lambda: with_entry(clean_job(), "amplifier_types", "amp-60", voltages_v=(LINE_70_V,))
    ),
    "AMP-06": _job(
        lambda: with_amplifier(
            with_design(
                clean_job(),
                lines=(
                    replace(clean_job().design.lines[0], speaker_keys=("s1", "s2")),
                    replace(
                        clean_job().design.lines[0],
                        key="l2",
                        label="L2",
                        voltage_v=LINE_70_V,
                        speaker_keys=("s3", "s4"),
                    ),
                ),
            ),
            "amp-60",
            channels=(Channel(number=1, line_keys=("l", "l2")),),
        )
    ),
    "AMP-07": _job(lambda: with_amplifier(clean_job(), "amp-120")),
    "AMP-08": _job(lambda: with_entry(clean_job(), "amplifier_types", "amp-60", high_pass_hz=())),
    "AMP-09": _job(
        lambda: with_entry(
            with_type(
                clean_job(),
                transformer=replace(
                    clean_job().catalogue.speaker("ceiling-6").transformer,
                    magnetising_henry_w=8.0,
                ),
            ),
            "amplifier_types",
            "amp-60",
            channel_power_w=(40.0,),
        )
    ),
    "AMP-10": _job(
        lambda: with_amplifier(
            clean_job(), "amp-60", channels=(Channel(number=3, line_keys=("l",)),)
        )
    ),
    # cable
    "CABLE-01": _job(
        lambda: with_entry(_us_cable("awg16-cl2p"), "amplifier_types", "amp-60", class_mark="3")
    ),
    "CABLE-02": _job(_class_one),
    "CABLE-03": _job(_plenum),
    "CABLE-04": _job(_two_storeys),
    "CABLE-05": _job(
        lambda: with_entry(
            clean_job(), "cable_types", "mm150-cca", material="copper-clad aluminium"
        )
    ),
    "CABLE-06": _job(
        lambda: with_entry(clean_job(), "cable_types", "mm150-cca", voltage_rating_v=100.0)
    ),
    "CABLE-07": _job(
        lambda: with_site(
            with_entry(clean_job(), "cable_types", "mm150-cca", jacket=""), region="EU"
        )
    ),
    "CABLE-08": _job(lambda: with_site(with_runs(clean_job(), cable_id="mm150-eca"), region="UK")),
    "CABLE-09": _job(lambda: with_runs(clean_job(), penetrations=1)),
    "CABLE-10": _job(
        lambda: with_line(
            clean_job(),
            runs=(
                replace(clean_job().design.lines[0].runs[0], cable_id="awg16-riser"),
                *clean_job().design.lines[0].runs[1:],
            ),
        )
    ),
    "CABLE-11": _job(lambda: with_runs(clean_job(), length_m=0.5)),
    "CABLE-12": _job(lambda: with_entry(clean_job(), "cable_types", "mm150-cca", cores=4)),
    # sound
    "SOUND-01": _heard(lambda: with_brief(clean_job(), level_dba=100.0)),
    "SOUND-02": _heard(lambda: with_brief(clean_job(), evenness_db=0.5)),
    "SOUND-03": _heard(lambda: with_brief(clean_job(), sti_min=0.95)),
    "SOUND-04": _heard(lambda: with_brief(clean_job(), max_level_dba=55.0)),
    "SOUND-05": _heard(
        lambda: with_brief(
            all_of_type(clean_job(), "ceiling-8", Tap(power_w=32.0, voltage_v=100.0)),
            level_dba=98.0,
        )
    ),
    "SOUND-06": _heard(lambda: with_brief(with_room(clean_job(), noise=None), level_dba=None)),
    "SOUND-07": lambda: findings_of(clean_job(), without_sound=True),
    "SOUND-08": _heard(
        lambda: with_type(
            clean_job(), directivity=Directivity(model="piston", piston_radius_m=0.06)
        )
    ),
    "SOUND-09": _heard(
        lambda: with_survey(
            with_room(
                with_speaker(
                    with_speaker(clean_job(), 2, position=(59.1, 1.5)), 3, position=(59.1, 4.5)
                ),
                outline=((0.0, 0.0), (60.0, 0.0), (60.0, 6.0), (0.0, 6.0)),
            ),
            limits=type(clean_job().survey.limits)((("sound_late_s", 0.02),)),
        )
    ),
    "SOUND-10": _heard(lambda: with_room(clean_job(), surfaces=())),
    "SOUND-11": _heard(
        lambda: with_room(clean_job(), noise=Noise(kind="dba", value=40.0, source="assumed: quiet"))
    ),
    "SOUND-12": _heard(lambda: with_brief(clean_job(), programme="paging", level_dba=42.0)),
    "SOUND-13": _heard(lambda: with_brief(clean_job(), programme="speech", level_dba=85.0)),
    "SOUND-14": _heard(lambda: with_room(clean_job(), surfaces=_HARD_UNDER_TILES)),
    # low end
    "LOW-01": _job(_sub),
    "LOW-02": _job(lambda: _sub(low_end=None)),
    "LOW-03": lambda: findings_of(_sub(), low=(_LOW,)),
    "LOW-04": _job(
        lambda: _sub(
            transformer=replace(
                clean_job().catalogue.speaker("ceiling-sub").transformer, lf_limit_hz=60.0
            )
        )
    ),
    "LOW-05": _job(_sub),
    "LOW-06": _job(_sub),
    "LOW-07": _job(lambda: with_brief(clean_job(), programme="foreground music")),
    "LOW-08": _job(lambda: _sub(box_depth_m=0.0)),
    # passed on from the choice of layouts and subwoofers, which have tests of their own
    **{f"PLACE-{number:02d}": _passed_on(f"PLACE-{number:02d}") for number in range(1, 6)},
    **{f"SUB-{number:02d}": _passed_on(f"SUB-{number:02d}") for number in range(1, 12)},
    # catalogue
    "TYPE-01": _job(lambda: _taps(Tap(power_w=7.5, voltage_v=100.0, mark="B"))),
    "TYPE-02": _job(lambda: _taps(Tap(power_w=15.0, voltage_v=100.0))),
    "TYPE-03": _job(lambda: with_type(clean_job(), sensitivity_db=(8.7,) * 8)),
    "TYPE-04": _job(lambda: _polar(angle_rad=tuple(np.radians(np.arange(0, 181, 20))[:10]))),
    "TYPE-05": _job(lambda: with_type(clean_job(), cutout_diameter_m=0.243)),
    "TYPE-06": _job(lambda: with_type(clean_job(), depth_m=6.25)),
    "TYPE-07": _job(
        lambda: with_type(
            clean_job(),
            transformer=replace(
                clean_job().catalogue.speaker("ceiling-6").transformer, insertion_loss_db=9.0
            ),
        )
    ),
    "TYPE-08": _job(lambda: with_type(clean_job(), rated_power_w=20.0)),
    "TYPE-09": _job(
        lambda: _sub(
            low_end=replace(
                clean_job().catalogue.speaker("ceiling-sub").low_end,
                low_limit_hz=15.0,  # type: ignore[type-var]
            )
        )
    ),
    "TYPE-10": _job(
        lambda: with_entry(clean_job(), "amplifier_types", "amp-120", class_mark="two")
    ),
    "TYPE-11": _job(
        lambda: with_entry(clean_job(), "cable_types", "mm250-cca", outer_diameter_m=8.0)
    ),
    # codes
    "CODE-01": _job(lambda: _us(clean_job())),
    "CODE-02": _job(
        lambda: _us(with_entry(clean_job(), "amplifier_types", "amp-60", class_mark=""))
    ),
    "CODE-04": _job(lambda: _us(with_amplifier(clean_job(), "amp-2x120"))),
    "CODE-05": _job(lambda: _plenum(plenum_mark="")),
    "CODE-06": _job(_plenum),
    "CODE-08": _job(lambda: _us(clean_job())),
    "CODE-09": _job(lambda: _us(clean_job())),
    "CODE-10": _job(lambda: _us(with_speaker(clean_job(), state="existing"))),
    "CODE-11": _job(lambda: _us(with_ceiling(clean_job(), fire_rated=True))),
    "CODE-12": _job(lambda: _us(with_ceiling(clean_job(), fire_rated=True))),
    "CODE-13": _job(
        lambda: _us(
            with_survey(
                clean_job(), zones=(replace(clean_job().survey.zones[0], has_volume_control=True),)
            )
        )
    ),
    "CODE-14": _job(lambda: _us(with_room(clean_job(), use="swimming pool hall"))),
    "CODE-15": _job(lambda: _us(with_room(clean_job(), use="chapel"))),
    "CODE-16": _job(
        lambda: with_survey(
            clean_job(), zones=(replace(clean_job().survey.zones[0], source="fire alarm voice"),)
        )
    ),
    "CODE-17": _job(lambda: _us(clean_job())),
    "CODE-18": _job(clean_job),
    "CODE-19": _job(
        lambda: with_site(
            all_of_type(with_line(clean_job(), voltage_v=25.0), "ceiling-6"), region="UK"
        )
    ),
    "CODE-20": _job(lambda: with_site(clean_job(), region="EU")),
    "CODE-21": _job(lambda: with_site(clean_job(), region="UK")),
    "CODE-23": _job(lambda: with_site(clean_job(), region="EU", note="also used for evacuation")),
    "CODE-24": _job(
        lambda: with_site(clean_job(), region="EU", note="emergency messages of the operator")
    ),
    "CODE-25": _job(lambda: with_site(with_brief(clean_job(), programme="paging"), region="EU")),
    "CODE-26": _job(lambda: with_amplifier(clean_job(), "amp-4x500")),
    "CODE-31": _job(clean_job),
    "CODE-32": _job(clean_job),
    "CODE-33": _job(clean_job),
    "CODE-34": _job(clean_job),
    "CODE-35": _job(lambda: with_site(clean_job(), note="old building, no asbestos register yet")),
    "CODE-36": _job(clean_job),
    "CODE-37": _near("sprinkler", 1.0),
    "PAPER-01": _strange_letters,
}
"""Code and what raises it."""

__all__ = ["RAISED", "bare_job", "square"]
