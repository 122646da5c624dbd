"""Write the worked examples of sound and speech: every number comes from the package."""

from pathlib import Path

import numpy as np

from soffit.acoustics.air import air_absorption_db_m
from soffit.acoustics.alcons import alcons_from_sti_percent, alcons_percent
from soffit.acoustics.coverage import (
    SPACING_RATIO,
    coverage_diameter_m,
    edge_level_db,
    plane_coverage_angle_rad,
    spacing_m,
)
from soffit.acoustics.delays import travel_time_s
from soffit.acoustics.direct import kernel_energy, radiator
from soffit.acoustics.directivity import (
    cosine_exponent,
    cosine_power,
    coverage_angle_rad,
    directivity_factor,
    piston,
)
from soffit.acoustics.evenness import evenness
from soffit.acoustics.hearing import allowed_hours
from soffit.acoustics.noise import nc_curve_db, nc_rating, noise_octaves_db, nr_rating
from soffit.acoustics.room import (
    Surface,
    absorption_area_m2,
    absorption_coefficients,
    absorption_materials,
    critical_distance_m,
    reverberant_energy_per_watt,
    reverberation_time_eyring_s,
    reverberation_time_sabine_s,
    room_constant_m2,
)
from soffit.acoustics.spectrum import pink_spectrum, speech_spectrum
from soffit.acoustics.speechmap import sti_at_points
from soffit.acoustics.sti import modulation_of_decay, sti, sti_rating
from soffit.acoustics.weighting import level_dba, octave_a_weights_db
from soffit.decibel import power_ratio, power_ratio_db
from soffit.tables.load import load_table

HERE = Path(__file__).resolve().parent / "theory"
BANDS = ["63", "125", "250", "500", "1k", "2k", "4k", "8k"]
NOTE = "<!-- written by docs/make_sound_pages.py: edit that -->"


def row(name: str, values: object, digits: int = 1) -> str:
    cells = np.broadcast_to(np.asarray(values, dtype=float), (8,))
    return f"| {name} | " + " | ".join(f"{value:.{digits}f}" for value in cells) + " |"


def head(name: str) -> list[str]:
    return [f"| {name} | " + " | ".join(BANDS) + " |", "|--" * 9 + "|"]


def coverage() -> list[str]:
    angle = np.radians(90.0)
    diameter = coverage_diameter_m(throw_m=1.5, coverage_angle_rad=angle)
    exponent = float(cosine_exponent(angle))
    plane = plane_coverage_angle_rad(exponent=exponent)
    lines = [
        "## Coverage circle",
        "Ceiling 2.7 m, ears 1.2 m, coverage angle 90°: D = 2 · 1.5 · tan 45° ="
        f" **{diameter:.2f} m**.",
        f"At its edge the level is {edge_level_db(coverage_angle_rad=angle):.2f} dB: 6 dB of the"
        f" speaker and {-6 - edge_level_db(coverage_angle_rad=angle):.2f} dB of distance. So 6 dB"
        f" on the plane are reached at {np.degrees(plane):.0f}° already.",
        "",
        "| hand pattern | spacing |",
        "|--|--|",
    ]
    return lines + [
        f"| {pattern} | {spacing_m(pattern=pattern, diameter_m=diameter):.2f} m |"
        for pattern in SPACING_RATIO
    ]


def one_speaker() -> list[str]:
    made = radiator(
        sensitivity_db=90.0, directivity=cosine_power(coverage_angle_rad=np.radians(90.0))
    )
    below = kernel_energy(radiator=made, throw_m=1.8, horizontal_m=0.0)[4]
    beside = kernel_energy(radiator=made, throw_m=1.8, horizontal_m=1.8)[4]
    n = float(cosine_exponent(np.radians(90.0)))
    return [
        "## Level of one speaker",
        "90 dB at 1 W and 1 m, 5 W, 1.8 m over the ears: 90 + 10 lg 5 - 20 lg 1.8 ="
        f" 90 + {float(power_ratio_db(5.0)):.2f} - {float(power_ratio_db(1.8**2)):.2f} ="
        f" **{float(power_ratio_db(5 * below)):.2f} dB**.",
        f"1.8 m beside it θ = 45° and n = {n:.2f}: {float(power_ratio_db(beside / below)):.2f} dB"
        " against straight below.",
    ]


def pistons() -> list[str]:
    lines = ["## A piston against a cosine", *head("radius 65 mm")]
    made = piston(radius_m=0.065)
    lines.append(row("coverage angle, °", np.degrees(coverage_angle_rad(made)), 0))
    lines.append(row("directivity factor Q", directivity_factor(made)))
    lines += [
        "",
        "Evenness of one square lattice, 3.0 m under a throw of 1.8 m, direct, 4 kHz:",
        "",
    ]
    for name, pattern in (
        ("piston, 65 mm", made),
        ("cosine, 90°", cosine_power(coverage_angle_rad=np.radians(90.0))),
        ("cosine, 120°", cosine_power(coverage_angle_rad=np.radians(120.0))),
    ):
        x, y = np.meshgrid((np.arange(10) + 0.5) * 0.3, (np.arange(10) + 0.5) * 0.3)
        kind = radiator(sensitivity_db=90.0, directivity=pattern)
        energy = sum(
            kernel_energy(
                radiator=kind, throw_m=1.8, horizontal_m=np.hypot(x - 3.0 * i, y - 3.0 * j)
            )[..., 6]
            for i in range(-12, 13)
            for j in range(-12, 13)
        )
        found = evenness(power_ratio_db(energy))
        lines.append(f"- {name}: 95 % of the ears within **{found.spread_db:.1f} dB**")
    return lines


def rooms() -> list[str]:
    parts = (
        ("floor", 48.0, "vinyl_on_concrete"),
        ("walls", 84.0, "gypsum_board_on_studs"),
        ("ceiling", 48.0, "mineral_fibre_tile_ordinary"),
    )
    surfaces = [
        Surface(surface_m2=area, absorption_ratio=absorption_coefficients(material))
        for _, area, material in parts
    ]
    objects = 4.8
    area, surface = absorption_area_m2(surfaces, objects_m2=objects)
    volume = 8.0 * 6.0 * 3.0
    air = air_absorption_db_m()
    sabine = reverberation_time_sabine_s(volume_m3=volume, absorption_area_m2=area, air_db_m=air)
    eyring = reverberation_time_eyring_s(
        volume_m3=volume, surface_m2=surface, absorption_area_m2=area, air_db_m=air
    )
    constant = room_constant_m2(surface_m2=surface, absorption_area_m2=area)
    made = radiator(
        sensitivity_db=90.0, directivity=cosine_power(coverage_angle_rad=np.radians(90.0))
    )
    gap = critical_distance_m(
        directivity_factor=made.directivity_factor, room_constant_m2=constant, n_sources=6
    )
    late = 6 * reverberant_energy_per_watt(
        sensitivity_energy=power_ratio(90.0),
        directivity_factor=made.directivity_factor,
        room_constant_m2=constant,
    )
    names = absorption_materials()
    words = ", ".join(f"{area:g} m² {part} of {names[m]}" for part, area, m in parts)
    return [
        "## Reverberation, room constant, critical distance",
        f"An invented room of 8 x 6 x 3 m: {words}, {objects:g} m² for furniture.",
        "",
        *head("octave"),
        row("absorption area, m²", area),
        row("T Sabine with air, s", sabine, 2),
        row("T Eyring with air, s", eyring, 2),
        row("room constant, m²", constant),
        row("critical distance of six speakers, m", gap, 2),
        row("late level of six at 1 W in each octave, dB", power_ratio_db(late)),
    ]


def air_and_noise() -> list[str]:
    talk = noise_octaves_db(65.0, "people")
    nc, band = nc_rating(nc_curve_db(35.0) + np.array([0, 0, 0, 0, 2, 0, 0, 0]))
    nr, nr_band = nr_rating(nc_curve_db(35.0))
    return [
        "## Air, noise, hearing",
        "",
        *head("octave"),
        row("air at 20 °C, 50 %, dB per 100 m", air_absorption_db_m() * 100, 2),
        row("NC-35, dB", nc_curve_db(35.0), 0),
        row("65 dBA of talk, dB", talk),
        row("A-weight, dB", octave_a_weights_db()),
        "",
        f"NC-35 sums to {float(level_dba(nc_curve_db(35.0))):.1f} dBA and rates NR-{nr:.0f} by its"
        f" {nr_band} octave. With 2 dB more at 1 kHz it rates NC-{nc:.0f} by the {band} octave.",
        f"94 dBA may last {float(allowed_hours(94.0)):.0f} h a day where 85 dBA may last 8 h.",
    ]


def programme() -> list[str]:
    speech, pink = speech_spectrum(), pink_spectrum()
    share = power_ratio(speech.level_db)
    return [
        "## Programme",
        "",
        *head("octave levels re dBA"),
        row("pink noise", pink.level_db),
        "| speech, edition 5 | - | " + " | ".join(f"{v:.1f}" for v in speech.level_db[1:]) + " |",
        row("watts in each octave of one watt of speech", share / share.sum(), 3),
        "",
        "Speech of 12 dB crest fills a line at 12 - 3 = 9 dB under the tap power: a 5 W tap then"
        f" takes {5 * float(power_ratio(3.0103 - 12.0)):.2f} W on average.",
    ]


def sound_page() -> str:
    blocks = [
        [
            "# Sound, worked",
            "",
            NOTE,
            "",
            "Invented rooms and speakers; formulas: [sound.md](sound.md).",
        ],
        coverage(),
        one_speaker(),
        pistons(),
        rooms(),
        air_and_noise(),
        programme(),
    ]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def decay_and_noise() -> list[str]:
    lines = ["## Decay and noise alone", "", "| | STI | |", "|--|--|--|"]
    for time_s in (0.5, 1.0, 2.0):
        value = float(sti(modulation=np.broadcast_to(modulation_of_decay(time_s), (7, 14))))
        lines.append(f"| T = {time_s:.1f} s, no noise | {value:.3f} | {sti_rating(value)} |")
    for snr in (15, 6, 0):
        value = float(sti(modulation=np.ones((7, 14)), snr_db=np.full(7, snr)))
        lines.append(
            f"| no reverberation, {snr} dB over noise | {value:.3f} | {sti_rating(value)} |"
        )
    m = float(modulation_of_decay(1.0)[2])
    return [*lines, "", f"m(1 Hz) at T = 1 s: 1 / sqrt(1 + (2π/13.8)²) = **{m:.4f}**."]


def louder() -> list[str]:
    lines = [
        "## Louder stops helping",
        "T = 0.6 s, noise of NC-40:",
        "",
        "| speech, dBA | STI |",
        "|--|--|",
    ]
    decay = np.broadcast_to(modulation_of_decay(0.6), (7, 14))
    for level in range(55, 95, 5):
        value = sti(
            modulation=decay,
            speech_level_db=speech_spectrum().octaves_db(level)[1:],
            noise_level_db=nc_curve_db(40.0)[1:],
        )
        lines.append(f"| {level} | {float(value):.2f} |")
    return lines


def many_speakers() -> list[str]:
    late = np.full((1, 7), 1e6)
    noise = np.full(7, 30.0)
    lines = [
        "## A second arrival",
        "Two speakers of equal level at the ear, direct 3 dB over late sound, T = 1 s:",
        "",
        "| second speaker farther by | arrives later by | STI |",
        "|--|--|--|",
    ]
    for gap in (0.0, 5.0, 10.0, 20.0):
        value = sti_at_points(
            direct_energy=np.full((1, 2, 7), 1e6),
            late_energy=np.repeat(late / 2, 2, axis=0),
            delay_s=np.array([[0.005, 0.005 + float(travel_time_s(gap))]]),
            reverberation_time_s=np.full(7, 1.0),
            noise_level_db=noise,
        )
        later = float(travel_time_s(gap)) * 1000
        lines.append(f"| {gap:.0f} m | {later:.0f} ms | {float(value[0]):.2f} |")
    return lines


def alcons() -> list[str]:
    found = float(
        alcons_percent(
            distance_m=10.0, reverberation_time_s=1.5, volume_m3=3000.0, directivity_factor=5.0
        )
    )
    far = float(
        alcons_percent(
            distance_m=40.0, reverberation_time_s=1.5, volume_m3=3000.0, directivity_factor=5.0
        )
    )
    return [
        "## %ALcons",
        "10 m, T = 1.5 s, 3000 m³, Q = 5: 200 · 10² · 1.5² / (3000 · 5) ="
        f" **{found:.2f} %**; at 40 m the other branch holds, 9 T = {far:.1f} %.",
        f"STI 0.50 corresponds to {float(alcons_from_sti_percent(0.5)):.1f} %.",
    ]


def speech_page() -> str:
    blocks = [
        ["# Speech, worked", "", NOTE, "", "Formulas: [speech.md](speech.md)."],
        decay_and_noise(),
        louder(),
        many_speakers(),
        alcons(),
    ]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def noise_levels_page() -> str:
    lines = [
        "# Choose a noise level that nobody measured",
        "",
        NOTE,
        "",
        "A reading at the busiest hour, in octaves, beats every row here. Speech wants 6 to 10 dB"
        " over it (list for public address, read in a reproduction); music what its owner likes.",
        "Above some 80 dBA of speech louder stops helping: bring the noise down.",
    ]
    for name, column in (
        ("ambient_nfpa", "place"),
        ("ambient_uk", "place"),
        ("ambient_restaurant", "statistic"),
    ):
        table = load_table(name)
        lines += ["", f"## {table.source.title}", "", table.source.cite(), ""]
        if table.source.note:
            lines += [f"Note: {table.source.note}.", ""]
        lines += [f"| {column} | dBA |", "|--|--|"]
        lines += [f"| {entry[column]} | {entry['level_dba']} |" for entry in table.rows]
    return "\n".join(lines) + "\n"


OWN_MATERIALS = """\
## Materials of your own

A job enters what a sheet or a measurement says; an id of the table above may be used again, and the
job's own values then go before the table's:

```toml
[materials.felt]
label = "felt panel 50 mm"
absorption = [0.25, 0.68, 1.05, 0.95, 0.92, 0.90]
source = "maker's sheet, reverberation room"

[materials.seat]
label = "chair"
each = [0.10, 0.15, 0.20, 0.30, 0.35, 0.40]
source = "maker's sheet"

[[rooms.hall.surfaces]]
part = "walls"
material = "felt"
area = 40

[[rooms.hall.surfaces]]
part = "furniture"
material = "seat"
count = 30

[[rooms.hall.surfaces]]
part = "furniture"
material = "person_standing"
count = 12
```

- Six values are 125 Hz to 4 kHz; 63 Hz is then taken as 125 Hz and 8 kHz as 4 kHz, and the papers
  say so. Eight values are 63 Hz to 8 kHz.
- `absorption` is a ratio per area. Reverberation rooms give up to some 1.2, because the edges of a
  sample absorb too: such values are kept as stated, computed as 1, and named among the assumptions.
  Anything above 1.2 or below 0 is refused with its line, key path and octave.
- `each` is the absorption area of one object, m²; such a material is furniture and needs a `count`.
  Objects of the table above are written with `_` between the words.
- People and rows of seats by area of seating are furniture with an `area`.
- Areas that add up to more than the room has are refused.""".splitlines()


def materials_page() -> str:
    table = load_table("absorption")
    columns = [name for name in table.columns if name.startswith("a")]
    lines = [
        "# Absorption of surfaces",
        "",
        NOTE,
        "",
        f"{table.source.cite()}. {table.source.note}.",
        "A measured reverberation time replaces all of them.",
        "",
        "| id in the job | surface | 125 | 250 | 500 | 1k | 2k | 4k |",
        "|--" * 8 + "|",
    ]
    lines += [
        f"| `{entry['material']}` | {entry['name']} | "
        + " | ".join(entry[name] for name in columns)
        + " |"
        for entry in table.rows
    ]
    objects = load_table("absorption_objects")
    lines += [
        "",
        "Absorption area of one object, m²:",
        "",
        "| object | 125 | 250 | 500 | 1k | 2k | 4k |",
    ]
    lines += ["|--" * 7 + "|"]
    lines += [
        f"| {entry['object']} | "
        + " | ".join(entry[name] for name in objects.columns if name.startswith("a"))
        + " |"
        for entry in objects.rows
    ]
    lines += ["", *OWN_MATERIALS]
    return "\n".join(lines) + "\n"


def pages() -> dict[Path, str]:
    docs = HERE.parent
    return {
        HERE / "sound-worked.md": sound_page(),
        HERE / "speech-worked.md": speech_page(),
        docs / "how-to" / "noise-levels.md": noise_levels_page(),
        docs / "reference" / "materials.md": materials_page(),
    }


def main() -> None:
    for path, text in pages().items():
        path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
