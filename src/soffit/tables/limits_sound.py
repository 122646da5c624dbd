"""Settings and limits of sound, speech and hearing."""

from typing import Final

from soffit.tables.setting import PRACTICE, Setting


def _level(name: str, default: float, source: str, help_text: str, *, most: float) -> Setting:
    return Setting(
        name=name,
        default=default,
        unit="dB",
        quantity="level",
        source=source,
        help=help_text,
        least=0.0,
        most=most,
    )


ROWS: Final[tuple[Setting, ...]] = (
    Setting(
        name="sound_ear_grid_m",
        default=0.3,
        unit="m",
        quantity="length",
        source="derived, docs/theory/sound.md: a 1.0 m grid errs by up to 1 dB",
        help="Widest step of the ears over which levels are reported.",
        least=0.05,
        most=2.0,
    ),
    _level(
        "sound_speech_crest_db",
        12.0,
        "crest factor of speech, read in two references",
        "Peak over r.m.s. of speech: so far below a sine of the same peak (less 3 dB) it runs.",
        most=30.0,
    ),
    _level(
        "sound_music_crest_db",
        12.0,
        PRACTICE,
        "Peak over r.m.s. of processed music; unprocessed music has 18 to 20 dB.",
        most=30.0,
    ),
    Setting(
        name="sound_air_degc",
        default=20.0,
        unit="°C",
        quantity="temperature",
        source=PRACTICE,
        help="Temperature of the air in the rooms.",
        least=-20.0,
        most=50.0,
    ),
    Setting(
        name="sound_humidity_percent",
        default=50.0,
        unit="%",
        quantity=None,
        source=PRACTICE,
        help="Relative humidity of the air in the rooms.",
        least=1.0,
        most=100.0,
    ),
    Setting(
        name="sound_furnishing_ratio",
        default=0.10,
        unit="",
        quantity="ratio",
        source=PRACTICE,
        help="Absorption area of furniture and few people per floor area where no furniture is"
        " stated.",
        least=0.0,
        most=1.0,
    ),
    Setting(
        name="sound_uneven_shown_ratio",
        default=1.25,
        unit="",
        quantity="ratio",
        source=PRACTICE,
        help="T by Arau-Puchades over T by Eyring (500 Hz to 2 kHz) from which the former is shown"
        " beside the latter.",
        least=1.02,
        most=10.0,
    ),
    Setting(
        name="sound_uneven_ratio",
        default=2.0,
        unit="",
        quantity="ratio",
        source="common practice, no source: furnished rooms under tiles lie at 1.1 to 1.9",
        help="T by Arau-Puchades over T by Eyring (500 Hz to 2 kHz) from which T is called"
        " uncertain.",
        least=1.02,
        most=10.0,
    ),
    Setting(
        name="sound_first_images",
        default=0.0,
        unit="",
        quantity=None,
        source="derived, docs/theory/sound.md section 6",
        help="1 adds first reflections of floor and walls to the whole field, 0 leaves them to the"
        " diffuse field.",
        least=0.0,
        most=1.0,
    ),
    _level(
        "sound_people_from_dba",
        55.0,
        PRACTICE,
        "Noise known in dBA only is taken for talking people from here up, for air handling below.",
        most=120.0,
    ),
    Setting(
        name="sound_late_s",
        default=0.030,
        unit="s",
        quantity="time",
        source=PRACTICE,
        help="Lag between loud arrivals at one ear above which an echo is reported.",
        least=0.005,
        most=0.2,
    ),
    _level(
        "sound_late_within_db",
        10.0,
        PRACTICE,
        "Arrivals weaker than the strongest by more than this do not count as echoes.",
        most=40.0,
    ),
    _level(
        "sound_hearing_8h_dba",
        85.0,
        "NIOSH 98-126 (1998), from memory, to be confirmed",
        "A-weighted level over eight hours a day above which hearing is at risk; 3 dB more halves"
        " the time.",
        most=120.0,
    ),
    _level(
        "sound_louder_db",
        6.0,
        PRACTICE,
        "Rise of the level that is tried before saying that louder will not help speech.",
        most=20.0,
    ),
    Setting(
        name="sound_sti_gain",
        default=0.03,
        unit="",
        quantity=None,
        source="repeatability of STI measurements, IEC 60268-16 (read in a second source)",
        help="Gain of STI below which a remedy is said not to help.",
        least=0.0,
        most=0.3,
    ),
    Setting(
        name="sound_sti_share",
        default=0.95,
        unit="",
        quantity="ratio",
        source=PRACTICE,
        help="Share of the ears that must reach the wanted STI.",
        least=0.5,
        most=1.0,
    ),
    _level(
        "sound_test_drive_db",
        20.0,
        PRACTICE,
        "How far under the nominal line voltage pink noise is played for acceptance readings.",
        most=40.0,
    ),
)
