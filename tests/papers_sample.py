# ruff: noqa: E501 - long literal rows of an invented building stay readable on one line
"""An invented building as views, for tests of the papers until and beside the demo jobs."""

import math

import numpy as np

from soffit.model.decisions import Option
from soffit.model.findings import DEFER, Finding
from soffit.model.survey import (
    Assumption,
    Ceiling,
    Door,
    Grid,
    Joists,
    ListeningArea,
    Obstacle,
    TestPoint,
)
from soffit.papers import views as v

SOURCE = "common practice, no source"


def _map(outline, holes, speakers, *, kind="level", title="Direct level, 4 kHz octave", step=0.3):
    from shapely import Polygon, contains_xy

    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    columns = math.ceil((max(xs) - min(xs)) / step)
    rows = math.ceil((max(ys) - min(ys)) / step)
    gx = min(xs) + step * (0.5 + np.arange(columns))
    gy = min(ys) + step * (0.5 + np.arange(rows))
    x, y = np.meshgrid(gx, gy)
    energy = np.zeros_like(x)
    for px, py in speakers:
        energy += 1.0 / (1.7**2 + (x - px) ** 2 + (y - py) ** 2) ** 2
    values = (
        84.0 + 10.0 * np.log10(energy + 1e-9)
        if kind != "sti"
        else 0.5 + 0.2 * energy / energy.max()
    )
    inside = contains_xy(Polygon(outline, holes), x, y)
    values = np.where(inside, values, np.nan)
    if kind == "sti":
        edges = tuple(np.round(np.arange(0.48, 0.72, 0.02), 2))
    else:
        low, high = math.floor(np.nanmin(values)), math.ceil(np.nanmax(values))
        edges = tuple(float(e) for e in range(low, high + 1))
    unit = "" if kind == "sti" else "dB"
    note = "Spread ±2.1 dB over 95 % of the ears (polar tables of the type, direct sound)."
    return v.MapView(
        kind=kind,
        title=title,
        unit=unit,
        values=values,
        origin=(gx[0], gy[0]),
        step_m=step,
        edges=edges,
        note=note,
    )


def _room(
    key,
    label,
    outline,
    ceiling,
    places,
    *,
    line,
    holes=(),
    obstacles=(),
    doors=(),
    walls=(),
    base,
    kind="ceiling",
    rack=None,
    imperial=True,
):
    ordered = sorted(
        places, key=lambda p: (round(p[1], 2), p[0] if round(p[1] / 1.0) % 2 else -p[0])
    )
    routes = []
    previous = rack or (outline[0][0], outline[0][1])
    for number, place in enumerate(ordered, 1):
        points = (previous, (place[0], previous[1]), place)
        routes.append(
            v.RouteView(
                run_key=f"r{base + number}",
                label=f"{line}-{number:02d}c",
                line_label=line,
                points=points,
                leaves_to="rack R1" if number == 1 and rack is None else "",
            )
        )
        previous = place
    room = v.RoomView(
        key=key,
        label=label,
        storey="Ground floor",
        use="reading",
        outline=outline,
        holes=holes,
        ceilings=(ceiling,),
        obstacles=obstacles,
        doors=doors,
        wall_names=walls,
        listening_areas=(ListeningArea(key="a"),),
        test_points=(
            TestPoint(key="t1", label="M1", position=(outline[0][0] + 2.2, outline[0][1] + 2.3)),
        ),
        routes=tuple(routes),
        marks=(
            v.MarkView(
                kind="test point",
                key="t1",
                label="M1",
                position=(outline[0][0] + 2.2, outline[0][1] + 2.3),
            ),
            *((v.MarkView(kind="rack", key="k1", label="R1", position=rack),) if rack else ()),
        ),
        maps=(
            _map(outline, holes, ordered),
            _map(outline, holes, ordered, kind="sti", title="Speech transmission index"),
        ),
        brief=(
            v.BriefRow(what="Level at the ears", asked="70 dBA", got="71.2 dBA", verdict="met"),
            v.BriefRow(
                what="Evenness, direct 4 kHz, 95 % of ears",
                asked="±3.0 dB",
                got="±2.1 dB",
                verdict="met",
            ),
            v.BriefRow(
                what="Speech transmission index",
                asked="≥ 0.55",
                got="0.52",
                verdict="missed",
                note="reverberation of 1.1 s; more absorption would help, more level would not",
            ),
        ),
        pattern=f"{len(places)} loudspeakers in straight rows, every 5th tile",
        count=len(places),
        reason="Fewest loudspeakers that hold ±3 dB over 95 % of the ears.",
        options=(
            Option(
                pattern="3 x 4, every 6th tile",
                count=max(1, len(places) - 6),
                spread_db=7.4,
                watts_w=60.0,
                look_penalty=0.0,
                meets_brief=False,
                mark="cheaper",
            ),
            Option(
                pattern="4 x 5, every 5th tile",
                count=len(places),
                spread_db=4.2,
                watts_w=80.0,
                look_penalty=0.0,
                meets_brief=True,
                mark="chosen",
            ),
            Option(
                pattern="5 x 6, every 4th tile",
                count=len(places) + 10,
                spread_db=2.6,
                watts_w=95.0,
                look_penalty=0.1,
                meets_brief=True,
                mark="finer",
            ),
        ),
        bound="No regular layout with fewer meets the brief (all lattices searched, 0.3 m listener grid).",
        ceiling_text="Ceiling 9' 6\" above floor (surveyed), tiles 24 in × 24 in, void 18 in, plenum.",
    )
    speakers = []
    for number, place in enumerate(ordered, 1):
        tile = None
        if ceiling.grid:
            g = ceiling.grid
            tile = (
                math.floor((place[0] - g.origin[0]) / g.pitch_x_m),
                math.floor((place[1] - g.origin[1]) / g.pitch_y_m),
            )
        tap = 5.0 if number % 7 else 2.5
        speakers.append(
            v.SpeakerView(
                key=f"s{base + number}",
                label=f"{line}-{number:02d}",
                room_key=key,
                room_label=label,
                line_key=line.lower(),
                line_label=line,
                order=number,
                type_id="demo-6in",
                type_name="Invented 6 inch, wide",
                kind=kind,
                position=place,
                mount_height_m=2.9,
                tap_text=f"{tap:g} W",
                tap_w=tap,
                tap_mark=f"rotary switch to {tap:g}, outer scale (70 V)",
                tile=tile,
                tile_text="4th full tile from the door wall, 2nd from the window wall"
                if tile
                else "",
                place_text=""
                if tile
                else "5' 2\" from the door wall, 3' 4\" from the window wall, between the 2nd and 3rd joist",
                voltage_v=70.7 - 0.2 * number,
                loss_db=0.02 * number,
                delivered_w=tap * 0.9,
                impedance_out_ohm=5000.0 / max(1, len(ordered) - number + 1) / tap,
                impedance_alone_ohm=5000.0 / tap,
                cutout_m=0.2 if kind != "pendant" else None,
                flange_m=0.23,
                depth_m=0.19,
                mass_kg=2.4,
                support_text="two rails on the main runners; the tile carries nothing",
                safety_text="safety wire to the structure, not to the grid; 1.2 m, rated 60 kg",
                void_text="needs 11 in above the ceiling, 18 in are there",
                bypass_text="not on 8 Ω (low-impedance position)",
                wire_in=v.WireView(
                    to_label=f"{line}-{number - 1:02d}" if number > 1 else "rack R1",
                    length_m=3.2 + number * 0.1,
                    cable="16 AWG CL3P",
                    colours="red +, black −",
                    terminals="IN + / IN −",
                    run_label=f"{line}-{number:02d}c",
                ),
                wires_out=(
                    v.WireView(
                        to_label=f"{line}-{number + 1:02d}",
                        length_m=3.3 + number * 0.1,
                        cable="16 AWG CL3P",
                        colours="red +, black −",
                        terminals="OUT + / OUT −",
                        run_label=f"{line}-{number + 1:02d}c",
                    ),
                )
                if number < len(ordered)
                else (),
                cautions=("Sprinkler 2' 4\" away: keep the head clear.",) if number == 3 else (),
                findings=("CEIL-04",) if number == 3 else (),
            )
        )
    return room, speakers


def _lattice(x0, y0, x1, y1, nx, ny):
    return [
        (x0 + (x1 - x0) * (i + 0.5) / nx, y0 + (y1 - y0) * (j + 0.5) / ny)
        for j in range(ny)
        for i in range(nx)
    ]


def _snap(places, grid):
    return [
        (
            grid.origin[0]
            + (math.floor((x - grid.origin[0]) / grid.pitch_x_m) + 0.5) * grid.pitch_x_m,
            grid.origin[1]
            + (math.floor((y - grid.origin[1]) / grid.pitch_y_m) + 0.5) * grid.pitch_y_m,
        )
        for x, y in places
    ]


def _line(key, label, speakers):
    nodes = [
        v.NodeView(
            key="k1",
            label="R1",
            kind="rack",
            voltage_v=70.711,
            impedance_out_ohm=51.6,
            open_here="amplifier off, both legs off at channel 1",
        )
    ]
    parent = "k1"
    for index, item in enumerate(speakers):
        nodes.append(
            v.NodeView(
                key=item.key,
                label=item.label,
                kind="speaker",
                parent_key=parent if index != 6 else speakers[2].key,
                run_label=item.wire_in.run_label,
                run_length_m=item.wire_in.length_m,
                cable=item.wire_in.cable,
                colours=item.wire_in.colours,
                terminals="IN + / IN −",
                voltage_v=item.voltage_v,
                loss_db=item.loss_db,
                current_a=0.5,
                impedance_out_ohm=item.impedance_out_ohm,
                open_here="open OUT here: halves the line" if index == len(speakers) // 2 else "",
            )
        )
        parent = item.key
    watts = sum(item.tap_w for item in speakers)
    hertz = np.geomspace(50, 10000, 40)
    ohms = 5000.0 / watts * (1 / (1 + (80 / hertz) ** 2) + 0.2 * (hertz / 1000) ** 0.5)
    return v.LineView(
        key=key,
        label=label,
        title="Reading hall",
        voltage_v=70.711,
        load_w=watts,
        drawn_w=watts * 1.1,
        impedance_ohm=5000.0 / watts / 1.1,
        meter=v.MeterBand(
            middle_ohm=5000.0 / watts / 1.1,
            low_ohm=5000.0 / watts / 1.1 * 0.88,
            high_ohm=5000.0 / watts / 1.1 * 1.12,
        ),
        worst_loss_db=max(item.loss_db for item in speakers),
        worst_label=speakers[-1].label,
        loss_limit_text=f"0.50 dB warn, 1.00 dB stop ({SOURCE})",
        length_m=sum(item.wire_in.length_m for item in speakers),
        cable_text="16 AWG CL3P, solid copper",
        nodes=tuple(nodes),
        curve=tuple((float(h), float(o)) for h, o in zip(hertz, ohms, strict=True)),
        channel_text="A1 channel 1",
        high_pass_hz=80.0,
        conductor_degc=40.0,
        zones_text="Hall",
        route_note="shortest chain proven",
    )


def sample_job(*, hall=(5, 4), paper="letter", imperial=True):
    """Return the views of an invented library; ``hall`` sets the loudspeakers of its hall."""
    ft = 0.3048
    pitch = 0.6096
    grid = Grid(origin=(0.35, 0.2), pitch_x_m=pitch, pitch_y_m=pitch, main_runner_spacing_m=1.2192)
    spread = max(1.0, (hall[0] * hall[1] / 20) ** 0.5)
    width, depth = 16.4 * spread, 11.2 * spread
    outline = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
    lights = tuple(
        Obstacle(
            key=f"o{i}{j}",
            label=f"light {i}{j}",
            room_key="hall",
            kind="light",
            outline=((x, y), (x + 1.2192, y), (x + 1.2192, y + 0.6096), (x, y + 0.6096)),
        )
        for i, x in enumerate(np.arange(grid.origin[0] + pitch, width - 2, pitch * 5))
        for j, y in enumerate(np.arange(grid.origin[1] + pitch * 2, depth - 1, pitch * 4))
    )
    more = (
        Obstacle(
            key="o90",
            label="air outlet",
            room_key="hall",
            kind="air outlet",
            outline=((4.0, 4.47), (4.61, 4.47), (4.61, 5.08), (4.0, 5.08)),
        ),
        Obstacle(
            key="o91",
            label="sprinkler",
            room_key="hall",
            kind="sprinkler",
            outline=((7.0, 6.0), (7.08, 6.0), (7.08, 6.08), (7.0, 6.08)),
        ),
        Obstacle(
            key="o92",
            label="duct",
            room_key="hall",
            kind="duct",
            outline=((0.0, 8.0), (width, 8.0), (width, 8.5), (0.0, 8.5)),
            bottom_m=3.1,
        ),
    )
    hall_room, hall_speakers = _room(
        "hall",
        "Reading hall",
        outline,
        Ceiling(
            key="c", kind="grid", height_m=9.5 * ft, grid=grid, void_depth_m=0.45, is_plenum=True
        ),
        _snap(_lattice(0, 0, width, depth, *hall), grid),
        line="L1",
        base=100,
        obstacles=(*lights, *more),
        rack=(0.6, 0.9),
        doors=(Door(key="d1", label="main door", position=(0.0, 4.0), width_m=1.8),),
        walls=("street wall", "window wall", "stair wall", "door wall"),
    )
    cafe_outline = ((0.0, 0.0), (9.0, 0.0), (9.0, 4.0), (4.2, 4.0), (4.2, 8.4), (0.0, 8.4))
    shift = width + 2.0
    cafe_outline = tuple((x + shift, y) for x, y in cafe_outline)
    column = tuple((x + shift + 2.0, y + 3.2) for x, y in ((0, 0), (0.4, 0), (0.4, 0.4), (0, 0.4)))
    cafe_room, cafe_speakers = _room(
        "cafe",
        "Café",
        cafe_outline,
        Ceiling(
            key="c",
            kind="plasterboard",
            height_m=2.7,
            joists=Joists(angle_rad=math.pi / 2, spacing_m=0.4064, width_m=0.038),
            void_depth_m=0.3,
        ),
        [(shift + x, y) for x, y in ((1.5, 1.4), (4.4, 1.4), (7.4, 1.4), (1.5, 4.2), (1.5, 7.0))],
        line="L2",
        base=500,
        holes=(column,),
        doors=(Door(key="d2", label="door to hall", position=(shift, 2.0)),),
        walls=("kitchen wall", "", "", "", "yard wall", "hall wall"),
    )
    speakers = (*hall_speakers, *cafe_speakers)
    lines = (_line("l1", "L1", hall_speakers), _line("l2", "L2", cafe_speakers))
    cables = tuple(
        v.CableRow(
            run_label=s.wire_in.run_label,
            line_label=s.line_label,
            from_label=s.wire_in.to_label,
            to_label=s.label,
            cable=s.wire_in.cable,
            length_m=s.wire_in.length_m,
            cut_m=s.wire_in.length_m * 1.1,
            colours=s.wire_in.colours,
        )
        for s in speakers
    )
    findings = (
        Finding(
            code="LINE-03",
            severity="warn",
            place="L1",
            place_key="l1",
            what="loss 0.62 dB at L1-20",
            limit="0.50 dB",
            limit_source=SOURCE,
            do="use 14 AWG or feed from the middle",
        ),
        Finding(
            code="CEIL-04",
            severity="warn",
            place="L1-03",
            place_key="s103",
            what="sprinkler 0.71 m from the trim",
            limit="0.60 m",
            limit_source="NFPA 13, three times rule, from memory",
            do="keep the head clear and ask the fire contractor. " + DEFER,
            is_caution=True,
            room_key="hall",
        ),
        Finding(
            code="LOW-01",
            severity="note",
            place="Story corner",
            what="low end not computed",
            do="place the subwoofer by hand or give the room's surfaces",
        ),
    )
    racks = (
        v.RackView(
            label="R1",
            key="k1",
            place_text="Reading hall, by the main door",
            amplifiers=(
                v.AmplifierView(
                    label="A1",
                    type_name="Invented 2 × 240 W",
                    class_mark="Class 3",
                    mass_kg=9.5,
                    output_text="floating output",
                    channels=tuple(
                        v.ChannelView(
                            number=i + 1,
                            lines_text=line.label,
                            load_w=line.load_w,
                            drawn_w=line.drawn_w,
                            rated_w=240.0,
                            load_ratio=line.drawn_w / 240.0,
                            voltage_v=70.711,
                            impedance_ohm=line.impedance_ohm,
                            high_pass_hz=80.0,
                            zones_text=line.title,
                        )
                        for i, line in enumerate(lines)
                    ),
                ),
            ),
            notes=("Leave one rack unit free above the amplifier.",),
        ),
    )
    tests = []
    step = 0
    for line in lines:
        for phase, what, quantity, expected, unit in (
            (
                "1 Dead: amplifier off, both legs off",
                "insulation, each leg to earth, 500 V dc",
                "insulation",
                1.0,
                "MΩ",
            ),
            (
                "1 Dead: amplifier off, both legs off",
                "impedance at 1 kHz at the amplifier end",
                "impedance",
                line.impedance_ohm,
                "Ω",
            ),
        ):
            step += 1
            tests.append(
                v.TestRow(
                    step=step,
                    phase=phase,
                    place=line.label,
                    place_key=line.key,
                    what=what,
                    quantity=quantity,
                    expected=expected,
                    low=expected * 0.88,
                    high=expected * 1.12 if unit == "Ω" else None,
                    unit=unit,
                    frequency_hz=1000.0 if unit == "Ω" else None,
                )
            )
    for item in speakers:
        step += 1
        tests.append(
            v.TestRow(
                step=step,
                phase="2 Ears: pink noise on the line, walk the floor",
                place=item.label,
                place_key=item.key,
                what="listen under it",
                quantity="ear",
                expected_text="heard, as loud as its neighbours",
                drive="pink noise, 7.07 V r.m.s.",
                room_label=item.room_label,
            )
        )
    step += 1
    tests.append(
        v.TestRow(
            step=step,
            phase="3 Level at the marked places",
            place="M1",
            place_key="t1",
            what="level, 4 kHz octave, 20 s mean at 1.2 m",
            quantity="level",
            expected=61.5,
            low=58.5,
            high=64.5,
            unit="dB",
            drive="pink noise, 7.07 V r.m.s.",
            room_label="Reading hall",
        )
    )
    return v.JobView(
        title=v.TitleView(
            job="Branch library, Millbrook",
            revision=3,
            date="2026-11-20",
            customer="Millbrook town (invented)",
            address="12 Quay Street",
            made_with="soffit 0.1.0",
            job_hash="3fa9c1d2",
            is_imperial=imperial,
            is_invented=True,
            paper=paper,
            line_voltage_v=70.711,
            north_angle_rad=1.2,
        ),
        headline=(
            f"{len(speakers)} loudspeakers in 2 rooms on 2 lines of one amplifier, 70.7 V.",
            "One demand of the brief is missed: speech in the café.",
        ),
        rooms=(hall_room, cafe_room),
        speakers=speakers,
        lines=lines,
        racks=racks,
        types=(
            v.TypeView(
                id="demo-6in",
                name="Invented 6 inch, wide",
                kind="ceiling",
                count=len(speakers),
                cutout_m=0.2,
                flange_m=0.23,
                depth_m=0.19,
                mass_kg=2.4,
                tile_x_m=0.5967,
                tile_y_m=0.5967,
                taps_text="70.7 V: 1, 2.5, 5, 10 W; 100 V: 2, 5, 10, 20 W",
                support_text="two rails on the main runners",
                terminals="IN +/−, OUT +/−, 2.5 mm²",
                marks_text="plenum mark, no fire mark",
                directivity_text="polar table",
                source="invented",
            ),
        ),
        cables=cables,
        materials=(
            v.MaterialRow(
                section="Loudspeakers",
                item="Invented 6 inch, wide",
                quantity=len(speakers),
                unit="pcs",
                type_id="demo-6in",
                price_each=84.0,
            ),
            v.MaterialRow(
                section="Loudspeakers",
                item="Rail pair, 24 in",
                quantity=len(hall_speakers),
                unit="pairs",
                price_each=9.5,
            ),
            v.MaterialRow(
                section="Cable",
                item="16 AWG CL3P, red/black",
                quantity=2,
                unit="reels of 500 ft",
                note="cut lengths 612 ft with 10 % waste",
            ),
            v.MaterialRow(
                section="Safety",
                item="Safety wire, 4 ft",
                quantity=len(speakers),
                unit="pcs",
                price_each=3.2,
            ),
        ),
        tests=tuple(tests),
        readings=(
            v.ReadingRow(
                place="L1",
                what="impedance, 1 kHz",
                value_text="47.9 Ω",
                expected_text="46.1 to 55.3 Ω",
                verdict="as planned",
                taken_at="2026-11-21T09:12",
                instrument="impedance meter",
                who="K.",
            ),
        ),
        findings=findings,
        assumptions=(
            Assumption(
                path="rooms.cafe.noise",
                text="background noise 50 dBA",
                source="table of design values, from memory",
            ),
        ),
        settings=(v.SettingRow(name="line_loss_warn_db", value_text="0.50 dB", source=SOURCE),),
        log=(
            v.LogRow(
                date="2026-11-20", text="moved L1-07 one tile towards the window wall", who="desk"
            ),
        ),
    )
