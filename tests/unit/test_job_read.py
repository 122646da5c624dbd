"""Reading job.toml: values, assumptions, and every error at its line."""

import math

import pytest

from soffit.errors import JobError
from soffit.job.api import load_demo_catalogue, parse_job
from soffit.job.migrate import migrate_0_to_1
from soffit.model.decisions import Survey
from soffit.tables.load import load_table
from soffit_job_texts import SMALL, changed, library_text, without


def survey(text: str) -> Survey:
    return parse_job(text, load_demo_catalogue()).survey


def problems(text: str) -> dict[str, str]:
    """Return what is wrong, by the key path of each place."""
    with pytest.raises(JobError) as caught:
        survey(text)
    for problem in caught.value.problems:
        assert all((problem.what, problem.where, problem.why, problem.do))
    return {p.where.split("  ")[-1]: p.what for p in caught.value.problems}


def where(text: str) -> list[str]:
    with pytest.raises(JobError) as caught:
        survey(text)
    return [problem.where for problem in caught.value.problems]


def test_the_demo_job_reads_without_error_and_needs_no_assumption_but_none():
    job = survey(library_text())
    assert [room.key for room in job.rooms] == ["cafe", "hall", "meeting", "story", "workroom"]
    assert job.site.is_imperial
    assert job.site.is_invented
    assert job.assumptions == ()
    hall = job.room("hall")
    assert hall.outline[2] == pytest.approx((50 * 0.3048, 38 * 0.3048))
    assert hall.ceilings[0].height_m == pytest.approx(3.048)
    assert hall.ceilings[0].tile_mass_kg_m2 == pytest.approx(0.45359237 / 0.3048**2)
    assert len(job.room("cafe").holes) == 2
    assert len(job.obstacles_in("hall")) == 16 + 6 + 12 + 1


def test_seventy_names_the_root_and_other_voltages_are_literal():
    for written, volts in (
        ("70.7", 100 / math.sqrt(2)),
        ('"70.7 V"', 100 / math.sqrt(2)),
        ("70", 70.0),
        ('"100 V"', 100.0),
        ("25", 25.0),
    ):
        text = changed(SMALL, "line_voltage = 100", f"line_voltage = {written}")
        assert survey(text.replace('tap = "6 W"\n', "")).site.line_voltage_v == volts


def test_what_nobody_surveyed_is_assumed_with_a_source():
    text = """\
format = 1
[site]
name = "x"
[rooms.r]
corner = [0, 0]
size = [8, 6]
use = "open office"
"""
    job = survey(text)
    assumed = {item.path: item for item in job.assumptions}
    assert set(assumed) >= {
        "site.line_voltage",
        "storeys",
        "racks",
        "zones",
        "rooms.r.ceilings",
        "rooms.r.ceilings[0].height",
        "rooms.r.ceilings[0].grid.pitch",
        "rooms.r.listening[0].ear_height",
        "rooms.r.noise",
        "rooms.r.surfaces",
        "rooms.r.brief.programme",
        "rooms.r.brief.margin",
    }
    assert all(item.text and item.source for item in job.assumptions)
    room = job.room("r")
    assert room.ceilings[0].height_m == 2.7
    assert room.ceilings[0].height_source == "assumed"
    assert room.noise is not None
    assert (room.noise.kind, room.noise.value) == ("nc", 45.0)
    assert room.listening_areas[0].ear_height_m == 1.2
    assert {surface.part for surface in room.surfaces} == {"floor", "walls", "ceiling"}
    assert job.zones[0].room_keys == ("r",)


@pytest.mark.parametrize(
    ("use", "kind", "value"),
    [
        ("office", "nc", 35.0),
        ("reading room lobby", "dba", 73.0),
        ("corridors", "nc", 45.0),
        ("", "nc", 40.0),
        ("canteen", "dba", 65.0),
    ],
)
def test_the_use_of_a_room_chooses_its_noise(use: str, kind: str, value: float):
    text = changed(SMALL, 'use = "classroom"', f'use = "{use}"')
    noise = survey(changed(text, "[rooms.hall] ", '[rooms.hall]\nlabel = "Q" ')).room("hall").noise
    assert noise is not None
    assert (noise.kind, noise.value) == (kind, value)


def test_a_measured_reverberation_time_needs_no_surfaces():
    text = changed(SMALL, 'use = "classroom"', "reverberation = [1, 1, 1, 0.9, 0.8, 0.7, 0.6, 0.5]")
    assert survey(text).room("hall").reverberation_s == (1, 1, 1, 0.9, 0.8, 0.7, 0.6, 0.5)
    assert survey(text).room("hall").surfaces == ()


def test_an_unknown_key_is_an_error_with_a_suggestion_at_its_line():
    text = changed(SMALL, "height = 3.0", "hieght = 3.0")
    with pytest.raises(JobError) as caught:
        survey(text)
    (problem,) = caught.value.problems
    assert problem.where == "job.toml:19  rooms.hall.ceilings[0].hieght"
    assert 'did you mean "height"' in problem.what


def test_all_errors_of_a_file_are_reported_together():
    text = changed(SMALL, "height = 3.0", "height = -3.0")
    text = changed(text, 'room = "hall"\ntype', 'room = "hal"\ntype')
    text = changed(text, "size = [12, 9]", 'size = ["12 parsec", 9]')
    text = changed(text, 'tap = "6 W"', 'tap = "7 W"')
    found = problems(text)
    assert set(found) >= {"rooms.hall.size[0]", "placed[0].room", "placed[0].tap"}
    text = changed(SMALL, "height = 3.0", "height = -3.0")
    text = changed(text, 'room = "hall"\ntype', 'room = "hal"\ntype')
    assert set(problems(text)) == {"rooms.hall.ceilings[0].height", "placed[0].room"}


def test_a_tap_that_the_type_does_not_have_names_those_it_has():
    with pytest.raises(JobError) as caught:
        survey(changed(SMALL, 'tap = "6 W"', 'tap = "7 W"'))
    (problem,) = caught.value.problems
    assert problem.where.endswith("placed[0].tap")
    assert "3, 6, 12 W at 100.0 V" in problem.why


OUTLINE = "outline = [[0, 0], [12, 0], [12, 9], [0, 9]]"


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("size = [12, 9]", "size = [12, -9]", "rooms.hall.size"),
        ("size = [12, 9]", "size = [12, 0]", "rooms.hall.size"),
        ("size = [12, 9]", "size = [0.5, 0.4]", "rooms.hall.ceilings[0].grid"),
        ("size = [12, 9]", "", "rooms.hall"),
        ("size = [12, 9]", "size = [12, 9, 3]", "rooms.hall.size"),
        ("height = 3.0", "height = 1.25", "rooms.hall.ceilings[0].height"),
        ("height = 3.0", "height = inf", "rooms.hall.ceilings[0].height"),
        ("height = 3.0", "height = nan", "rooms.hall.ceilings[0].height"),
        ("height = 3.0", "height = true", "rooms.hall.ceilings[0].height"),
        ("height = 3.0", 'height = "3"', "rooms.hall.ceilings[0].height"),
        ("height = 3.0", "height = [3]", "rooms.hall.ceilings[0].height"),
        ("height = 3.0", "height = 0", "rooms.hall.ceilings[0].height"),
        ('kind = "grid"', 'kind = "grids"', "rooms.hall.ceilings[0].kind"),
        ('kind = "grid"', 'kind = "open"', "rooms.hall.ceilings[0].grid"),
        ('[racks.main]\nroom = "hall"', '[racks.main]\nroom = "x"', "racks.main.room"),
        ("at = [0.5, 0.5]", "at = [-2, 0.5]", "racks.main.at"),
        ("at = [6, 4]", "at = [16, 4]", "placed[0].at"),
        ('type = "ceiling-4"', 'type = "ceilin-4"', "placed[0].type"),
        ("repeat = [2, 1]\n", "", "rooms.hall.obstacles[0]"),
        ("step = [3, 0]", "step = [0, 0]", "rooms.hall.obstacles[0].step"),
        ("step = [3, 0]", "step = [30, 0]", "rooms.hall.obstacles[0]"),
        ("repeat = [2, 1]", "repeat = [900, 900]", "rooms.hall.obstacles[0].repeat"),
        ("diameter = 0.2", "diameter = -0.2", "rooms.hall.obstacles[0].diameter"),
        ("diameter = 0.2", "diameter = 0.2\nbottom = 4\ntop = 3", "rooms.hall.obstacles[0].top"),
        ("pitch = [0.6, 0.6]", "pitch = [0.6, 0]", "rooms.hall.ceilings[0].grid.pitch"),
        ("line_voltage = 100", "line_voltage = 0", "site.line_voltage"),
        ("format = 1", "format = 2", "format"),
        ("format = 1\n", "", "format"),
        ('name = "Test"\n', "", "site"),
        ("[rooms.hall]", '[rooms."a hall"]', 'rooms."a hall"'),
    ],
)
def test_what_cannot_be_is_refused_at_its_path(old: str, new: str, path: str):
    assert path in problems(SMALL.replace(old, new, 1))


@pytest.mark.parametrize(
    ("extra", "path"),
    [
        ("[rooms.hall.noise]\nnc = 30\ndba = 40\n", "rooms.hall.noise"),
        ("[rooms.hall.noise]\nsource = 'x'\n", "rooms.hall.noise"),
        ("[rooms.hall.noise]\nnc = 300\n", "rooms.hall.noise.nc"),
        ("[rooms.hall.brief]\nevenness = 0\n", "rooms.hall.brief.evenness"),
        ("[rooms.hall.brief]\nspeaker_type = 'x'\n", "rooms.hall.brief.speaker_type"),
        (
            "[rooms.hall.brief]\nspeaker_type = 'ceiling-4'\ntap = 7\n",
            "rooms.hall.brief.tap",
        ),
        ("[[rooms.hall.columns]]\nat = [20, 3]\ndiameter = 0.4\n", "rooms.hall.columns[0]"),
        ("[[rooms.hall.columns]]\nat = [3, 3]\n", "rooms.hall.columns[0]"),
        (
            "[[rooms.hall.listening]]\ncorner = [8, 1]\nsize = [6, 3]\n",
            "rooms.hall.listening[0]",
        ),
        (
            "[[rooms.hall.ceilings]]\nheight = 3\ncorner = [8, 1]\nsize = [6, 3]\n",
            "rooms.hall.ceilings[1]",
        ),
        ("[[rooms.hall.ceilings]]\nheight = 3\n", "rooms.hall.ceilings[1]"),
        (
            "[[rooms.hall.ceilings]]\nkey = 'grid'\ncorner = [1, 1]\nsize = [6, 3]\n",
            "rooms.hall.ceilings[1].key",
        ),
        ("[[rooms.hall.doors]]\nat = [5, 5]\n", "rooms.hall.doors[0].at"),
        ("[[rooms.hall.test_points]]\nkey = 't'\nat = [50, 5]\n", "rooms.hall.test_points[0].at"),
        (
            "[[rooms.hall.surfaces]]\npart='walls'\nmaterial='chese'\n",
            "rooms.hall.surfaces[0].material",
        ),
        ("[zones.a]\nrooms = ['hal']\n", "zones.a.rooms[0]"),
        ("[zones.a]\nrooms = ['hall']\n[zones.b]\nrooms = ['hall']\n", "zones.b.rooms[0]"),
        ("[zones.a]\nrooms = []\n", "zones.a.rooms"),
        ("[equipment]\ncable_types = ['x']\n", "equipment.cable_types[0]"),
        ("[limits]\nline_loss_warn = 1\n", "limits.line_loss_warn"),
        ("[limits]\nline_loss_warn_db = 100\n", "limits.line_loss_warn_db"),
        ("[limits]\nline_loss_warn_db = 'x'\n", "limits.line_loss_warn_db"),
        ("[limits]\nline_loss_warn_db = true\n", "limits.line_loss_warn_db"),
        ("[cable_ways.a]\npoints = [[1, 1]]\n", "cable_ways.a.points"),
        ("[rooms.other]\nstorey = 'roof'\ncorner = [0, 20]\nsize = [3, 3]\n", "rooms.other.storey"),
        ("[[placed]]\nkey='p1'\nroom='hall'\ntype='ceiling-4'\nat=[1, 1]\n", "placed[1].key"),
        (
            "[[placed]]\nkey='p2'\nroom='hall'\ntype='ceiling-4'\nat=[1, 1]\naim=[0, 0, 0]\n",
            "placed[1].aim",
        ),
        ("[storeys.two]\nelevation = 3\n", "rooms.hall"),
    ],
)
def test_what_cannot_be_added_is_refused_at_its_path(extra: str, path: str):
    assert path in problems(SMALL + extra)


def test_a_job_without_rooms_is_refused():
    assert "rooms" in problems('format = 1\n[site]\nname = "x"\n')


@pytest.mark.parametrize(
    "outline",
    [
        "[[0, 0], [12, 9], [12, 0], [0, 9]]",
        "[[0, 0], [12, 0], [6, 0]]",
        "[[0, 0], [12, 0]]",
        "[[0, 0], [0, 0], [0, 0], [0, 0]]",
        "[[0, 0], [12, 0], [12, 9], [6, 0], [0, 9]]",
    ],
)
def test_outlines_that_cross_or_have_no_area_are_refused(outline: str):
    text = changed(SMALL, "corner = [0, 0]\nsize = [12, 9]", f"outline = {outline}")
    assert "rooms.hall.outline" in problems(text)


def test_a_clockwise_outline_is_turned_and_its_wall_names_go_with_it():
    ring = "outline = [[0, 0], [0, 9], [12, 9], [12, 0], [0, 0]]\n"
    names = 'wall_names = ["west", "north", "east", "south"]'
    text = changed(SMALL, "corner = [0, 0]\nsize = [12, 9]", ring + names)
    room = survey(text).room("hall")
    assert room.outline == ((0, 0), (12, 0), (12, 9), (0, 9))
    assert room.wall_names == ("south", "east", "north", "west")


def test_repeats_are_numbered_along_x_first_and_keys_do_not_repeat():
    text = changed(SMALL, "repeat = [2, 1]\nstep = [3, 0]", "repeat = [2, 2]\nstep = [3, 2]")
    text += (
        '[[rooms.hall.obstacles]]\nkind = "light"\nkey = "light2"\nat = [1, 1]\ndiameter = 0.1\n'
    )
    found = survey(text).obstacles
    assert [item.key for item in found] == [
        "hall.light1",
        "hall.light3",
        "hall.light4",
        "hall.light5",
        "hall.light2",
    ]
    middles = [round(sum(x for x, _ in item.outline) / 32, 6) for item in found[:4]]
    assert middles == [3, 6, 3, 6]
    assert [item.label for item in found] == [f"light {number}" for number in range(1, 6)]


def test_rooms_outside_every_zone_get_one_of_their_own():
    text = SMALL + "[rooms.b]\ncorner = [20, 0]\nsize = [3, 3]\n[zones.z]\nrooms = ['b']\n"
    assert [(zone.key, zone.room_keys) for zone in survey(text).zones] == [
        ("z", ("b",)),
        ("hall", ("hall",)),
    ]


def test_limits_take_units_and_keep_their_range():
    text = SMALL + '[limits]\namplifier_headroom_ratio = "10 %"\nconductor_degc = "104 degF"\n'
    limits = survey(text).limits
    assert limits["amplifier_headroom_ratio"] == pytest.approx(0.1)
    assert limits["conductor_degc"] == pytest.approx(40.0)
    assert limits.source("conductor_degc") == "project limit"


def test_the_hash_is_of_the_meaning():
    catalogue = load_demo_catalogue()
    first = parse_job(SMALL, catalogue).job_hash
    rack = SMALL[SMALL.index("[racks.main]") :]
    moved = SMALL.replace(rack, "").replace("[storeys.ground]", f"{rack}\n[storeys.ground]")
    for text in (
        SMALL.replace("\n", "\r\n").replace("\r\n", "\n"),
        "# a comment\n" + SMALL,
        without(SMALL, "revision"),
        changed(SMALL, "height = 3.0", 'height = "3000 mm"'),
        moved,
    ):
        assert parse_job(text, catalogue).job_hash == first
    for text in (
        changed(SMALL, "height = 3.0", "height = 3.001"),
        changed(SMALL, 'name = "Test"', 'name = "Text"'),
    ):
        assert parse_job(text, catalogue).job_hash != first


def test_the_order_of_tables_does_not_change_the_survey():
    rooms = (
        "[rooms.b]\ncorner = [20, 0]\nsize = [3, 3]\n[rooms.a]\ncorner = [30, 0]\nsize = [3, 3]\n"
    )
    other = (
        "[rooms.a]\ncorner = [30, 0]\nsize = [3, 3]\n[rooms.b]\ncorner = [20, 0]\nsize = [3, 3]\n"
    )
    assert survey(SMALL + rooms) == survey(SMALL + other)


def test_a_syntax_error_names_line_and_advice():
    text = changed(SMALL, "height = 3.0", "height = 9 ft 6 in")
    with pytest.raises(JobError) as caught:
        survey(text)
    (problem,) = caught.value.problems
    assert problem.where.startswith("job.toml:19")
    assert "quotes" in problem.do


def test_a_key_defined_twice_is_an_error():
    assert where(SMALL + "[site]\nname = 'y'\n")[0].startswith("job.toml:")


DRAFT = """\
format = 0
[site]
name = "Draft"
volts = 70.7
[[rooms]]
id = "hall"
corner = [0, 0]
size = [12, 9]
ceiling_height = 3.0
[zones.all]
members = ["hall"]
"""


def test_the_first_draft_of_the_format_is_moved_to_the_current_one():
    job = survey(DRAFT)
    assert job.site.line_voltage_v == 100 / math.sqrt(2)
    assert job.room("hall").ceilings[0].height_m == 3.0
    assert job.zones[0].room_keys == ("hall",)


def test_the_migration_is_pure():
    old = {"format": 0, "site": {"name": "x", "volts": 100}, "rooms": [{"id": "a"}]}
    new = migrate_0_to_1(old)
    assert old == {"format": 0, "site": {"name": "x", "volts": 100}, "rooms": [{"id": "a"}]}
    assert new == {"format": 1, "site": {"name": "x", "line_voltage": 100}, "rooms": {"a": {}}}


def test_assumed_materials_stand_in_the_table_of_absorption():
    known = {row["material"] for row in load_table("absorption").rows}
    floors = {row["floor"] for row in load_table("room_defaults").rows}
    assert floors <= known
    for kind in ("grid", "plasterboard", "concealed", "open"):
        ceiling = f"kind = '{kind}'\nheight = 3\n"
        text = (
            SMALL[: SMALL.index("[[rooms.hall.ceilings]]")] + "[[rooms.hall.ceilings]]\n" + ceiling
        )
        materials = {surface.material for surface in survey(text).room("hall").surfaces}
        assert materials <= known


def test_in_the_us_a_void_that_nobody_spoke_of_is_a_stated_assumption():
    """NFPA 70 (NEC) 300.22(C), read in articles: cable and units of a plenum are listed for it."""
    said = survey(library_text().replace("plenum = true", "plenum = false", 1))
    assert not [item for item in said.assumptions if "plenum" in item.path]
    silent = library_text().replace("plenum = true\n", "", 1)
    (item,) = (item for item in survey(silent).assumptions if "plenum" in item.path)
    assert item.path.endswith(".plenum")
    assert "300.22(C)" in item.source
    quiet = survey(silent.replace('region = "US"', 'region = "EU"'))
    assert not [item for item in quiet.assumptions if "plenum" in item.path]
