"""Settings and limits of papers and quotes."""

from typing import Final

from soffit.tables.setting import Setting

ASSUMED: Final = "assumption, no source: replace it by your own figure"


def _hours(name: str, default: float, help_: str) -> Setting:
    return Setting(
        name=name,
        default=default,
        unit="h",
        quantity=None,
        source=ASSUMED,
        help=help_,
        least=0.0,
        most=100.0,
    )


ROWS: Final[tuple[Setting, ...]] = (
    _hours("labour_grid_speaker_h", 0.75, "Hours to cut, hang, set and wire one in a tile."),
    _hours("labour_board_speaker_h", 1.25, "Hours to cut, hang, set and wire one in plasterboard."),
    _hours("labour_hung_speaker_h", 1.0, "Hours to hang, set and wire a pendant or surface type."),
    _hours("labour_subwoofer_h", 2.0, "Hours to hang, set and wire a ceiling subwoofer."),
    _hours("labour_run_h", 0.2, "Hours to route, label and end one run of cable."),
    _hours("labour_cable_m_h", 0.02, "Hours to pull one metre of cable."),
    _hours("labour_firestop_h", 0.5, "Hours to pass and stop one wall."),
    _hours("labour_rack_h", 3.0, "Hours to set up one rack."),
    _hours("labour_amplifier_h", 1.0, "Hours to mount, wire and set one amplifier."),
    _hours("labour_line_test_h", 0.5, "Hours to test one line dead and live."),
    _hours("labour_listen_h", 0.03, "Hours to listen under one loudspeaker."),
    _hours("labour_level_point_h", 0.1, "Hours to measure one place."),
    _hours("labour_handover_h", 3.0, "Hours for as-built papers and hand-over."),
    Setting(
        name="cable_support_every_m",
        default=1.5,
        unit="m",
        quantity="length",
        source="common practice, no source",
        help="Distance between the hooks or clips that carry cable in a void.",
        least=0.1,
        most=10.0,
    ),
    Setting(
        name="access_speakers_day",
        default=16.0,
        unit="a day",
        quantity=None,
        source=ASSUMED,
        help="Loudspeakers that one crew hangs in a day with a platform or lift.",
        least=1.0,
        most=200.0,
    ),
    Setting(
        name="quote_low_ratio",
        default=0.8,
        unit="",
        quantity="ratio",
        source=ASSUMED,
        help="Low figure of hours over the likely one.",
        least=0.1,
        most=1.0,
    ),
    Setting(
        name="quote_high_ratio",
        default=1.4,
        unit="",
        quantity="ratio",
        source=ASSUMED,
        help="High figure of hours over the likely one.",
        least=1.0,
        most=5.0,
    ),
    Setting(
        name="quote_cable_high_ratio",
        default=1.1,
        unit="",
        quantity="ratio",
        source=ASSUMED,
        help="High figure of cable over the likely one, for ways that turn out longer.",
        least=1.0,
        most=3.0,
    ),
)
