"""Settings and limits of ceilings, mounting and clearances."""

from typing import Final

from soffit.tables.setting import PRACTICE, Setting
from soffit.units import Quantity


def _row(
    name: str,
    default: float,
    unit: str,
    quantity: Quantity | None,
    help_text: str,
    *,
    source: str = PRACTICE,
    most: float = 10.0,
    least: float = 0.0,
) -> Setting:
    return Setting(
        name=name,
        default=default,
        unit=unit,
        quantity=quantity,
        source=source,
        help=help_text,
        least=least,
        most=most,
    )


def _length(
    name: str, default_m: float, help_text: str, *, source: str = PRACTICE, least: float = 0.0
) -> Setting:
    return _row(f"{name}_m", default_m, "m", "length", help_text, source=source, least=least)


ROWS: Final[tuple[Setting, ...]] = (
    _length(
        "room_overlap_wall",
        0.4,
        "Overlap of two rooms up to which it is the wall between them, drawn twice.",
    ),
    _row(
        "room_twice_ratio",
        0.9,
        "",
        "ratio",
        "Share of their floor above which two rooms are one room that was entered twice.",
        least=0.5,
        most=1.0,
    ),
    _length(
        "ceiling_seam",
        0.1,
        "Widest strip between or under two ceilings, or beside a column, that counts as a seam.",
    ),
    _length("void_margin", 0.05, "Void to spare over a unit's depth and the bend of its cable."),
    _row(
        "void_extra_ratio",
        1.0 / 3.0,
        "",
        "ratio",
        "Least void to spare as a share of a unit's depth.",
        most=2.0,
    ),
    _length("void_point_reach", 1.2, "How far around a measured point its void depth is trusted."),
    _length("cutout_tee_clearance", 0.025, "Clear strip between a cut-out and a tee or a wall."),
    _length("cutout_joist_clearance", 0.01, "Clear strip between a cut-out and a joist."),
    _length("flange_overlap_least", 0.006, "Least width of trim over the edge of its hole."),
    _length("unit_gap_least", 0.05, "Least gap between the trims of two units."),
    _row(
        "sprinkler_factor",
        3.0,
        "",
        None,
        "Clear distance to a sprinkler in largest dimensions of a thing that hangs below it.",
        source="NFPA 13, three-times rule (read in trade articles)",
        least=1.0,
    ),
    _length(
        "sprinkler_cap",
        0.6096,
        "Distance to a sprinkler that is enough in any case.",
        source="NFPA 13, three-times rule, 24 in (from memory, to be confirmed)",
    ),
    _length("head_height_least", 2.1, "Least height of what hangs over people's heads."),
    _length("ladder_height_most", 3.6, "Height of work above which a step ladder will not do."),
    _length(
        "hanger_spacing",
        1.2,
        "Hanger to hanger along a main runner.",
        least=0.1,
        source="ASTM C635/C635M-17, 4.1.2: simple span of 4 ft (1200 mm)",
    ),
    _row(
        "tile_mass_kg_m2",
        6.0,
        "kg/m²",
        "surface_mass",
        "Mass of the infill where nobody weighed it: the heavy end of mineral fibre.",
        source="mineral fibre about 3-6 kg/m² (from memory, to be confirmed)",
        most=100.0,
    ),
    _row(
        "ceiling_load_most_kg_m2",
        19.5,
        "kg/m²",
        "surface_mass",
        "Ceiling with everything on it, above which the usual rules for grids end.",
        source="4 lb/sq ft, state code notes on suspended ceilings (read in reproductions)",
        least=1.0,
        most=200.0,
    ),
    _row(
        "board_unit_most_kg",
        3.0,
        "kg",
        "mass",
        "Heaviest unit that clamps to plasterboard alone; above it, bearers go to the joists.",
        most=20.0,
    ),
    _row(
        "safety_factor",
        10.0,
        "",
        None,
        "Breaking load of a safety wire over the weight that it would catch.",
        source="one field note of 10:1 (read); 5:1 is rigging's floor, 7:1 to 10:1 over people",
        least=5.0,
        most=20.0,
    ),
    _row(
        "safety_label_factor",
        5.0,
        "",
        None,
        "Factor that the label of a safety wire is taken to contain.",
        source="rigging's floor of 5:1 (read in trade articles)",
        least=1.0,
        most=12.0,
    ),
    _length("safety_slack", 0.15, "Slack of a safety wire, so that it never becomes the support."),
    _length("safety_drop_most", 0.3, "Farthest that a unit may fall before its wire holds it."),
    _row(
        "impedance_least_ohm",
        0.5,
        "Ω",
        "resistance",
        "Line impedance below which something must be wrong with the plan.",
        most=100.0,
    ),
    _row(
        "line_length_most_m",
        1000.0,
        "m",
        "length",
        "Length of cable of one line above which capacitance and faults deserve a thought.",
        least=10.0,
        most=100000.0,
    ),
    _row(
        "speakers_per_line_most",
        60.0,
        "",
        None,
        "Speakers on one line above which finding a fault takes long.",
        least=1.0,
        most=10000.0,
    ),
    _row(
        "channel_spare_note_ratio",
        0.5,
        "",
        "ratio",
        "Unused share of a channel above which a smaller amplifier may do.",
        least=0.1,
        most=0.99,
    ),
    _row(
        "sound_level_tolerance_db",
        1.0,
        "dB",
        "level",
        "How far a room may stay below its wanted level without a finding.",
    ),
    _row(
        "sound_speech_margin_db",
        6.0,
        "dB",
        "level",
        "Least level of speech over the noise.",
        source="UK list of public address levels: announcements 6-10 dB over noise (secondary)",
        most=25.0,
    ),
    _row(
        "sound_speech_most_dba",
        80.0,
        "dB",
        "level",
        "Level of speech above which more level stops helping.",
        source="derived from the level terms of IEC 60268-16 (secondary)",
        least=60.0,
        most=110.0,
    ),
)
