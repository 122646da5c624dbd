"""Findings about subwoofers that the choice of their places words; listed and explained here."""

from collections.abc import Callable
from typing import Final

from soffit.check.kit import Check, Context
from soffit.model.findings import Finding, Severity


def passed_on(code: str) -> Callable[[Context], list[Finding]]:
    """Return a check that passes on findings of one code, worded where they were decided.

    Parameters
    ----------
    code
        The code.
    """
    return lambda context: [item for item in context.states.more if item.code == code]


def _check(
    code: str, severity: Severity, title: str, why: str, do: str, rest: tuple[str, str]
) -> Check:
    no_mend, source = rest
    return Check(
        code=code,
        severity=severity,
        title=title,
        why=why,
        do=do,
        find=passed_on(code),
        source=source,
        has_mend=not no_mend,
        no_mend=no_mend,
        passes_on=True,
    )


CHECKS: Final = (
    _check(
        "SUB-01",
        "note",
        "What the choice of tile is worth",
        "The best tile evens out the seats by about one decibel against a blind "
        "choice; it is honest to say how little.",
        "use the named tile if it costs nothing. Do not move a duct for it",
        (
            "a tile is moved by SUB-09 or by hand",
            "seat-to-seat deviation over the subwoofer's band; see the theory page, section 6",
        ),
    ),
    _check(
        "SUB-02",
        "note",
        "Tap and watts of the low band",
        "Too little is not heard, too much booms. Warn where the asked level is "
        "out of reach, or where no other speaker's level is known.",
        "set the named tap and trim the channel; where it does not reach, hang "
        "the named number or ask for less",
        (
            "number and level are a decision",
            "the brief's low tilt, else the ISO 226 contours (from memory), else flat for speech",
        ),
    ),
    _check(
        "SUB-03",
        "note",
        "Low limit and high-pass of the subwoofer",
        "Below it the driver bottoms or the transformer saturates, which looks "
        "like a short to the amplifier.",
        "set the named high-pass on the subwoofer's line",
        ("filters are set on site", "driver data; transformer flux goes as voltage over frequency"),
    ),
    _check(
        "SUB-04",
        "note",
        "Crossover",
        "The other speakers' transformers must not see the lows; above 120 Hz an "
        "ear hears where the bass comes from (then warn).",
        "give the subwoofer a line and a channel of its own and set both filters",
        ("which channel it gets is a decision", "common practice, no source"),
    ),
    _check(
        "SUB-05",
        "note",
        "Rattle",
        "Tiles, lights and grilles near a subwoofer buzz, and its weight must "
        "never hang on the grid.",
        "carry it on the structure, clip and pad, sweep 50 to 500 Hz before the scaffold goes",
        ("it is work on site", "lowfreq_rattle_level_db, common practice, no source"),
    ),
    _check(
        "SUB-06",
        "note",
        "Leakage to void and neighbours",
        "Low notes pass a light ceiling; how loud it is above and next door is not computed.",
        "listen there while the sweep runs, and agree the level",
        ("it is a talk with the neighbours", "mass law; share lost in the void is an assumption"),
    ),
    _check(
        "SUB-07",
        "warn",
        "Room is no prism",
        "Modes of a sloped or stepped room lie elsewhere, so the map is a guide.",
        "trust the ranking less; measure before the hole is cut",
        ("the room is what it is", "the survey's ceilings"),
    ),
    _check(
        "SUB-08",
        "note",
        "Model of the low end and where it ends",
        "Above the Schroeder frequency single seats cannot be foretold.",
        "read the map by thirds of an octave; it does not know furniture or doors",
        ("it is a limit of knowledge", "2000 sqrt(T/V), Kuttruff (from memory)"),
    ),
    _check(
        "SUB-09",
        "note",
        "Subwoofer placed by hand",
        "What the hand-placed tile gives against the best of the same number.",
        "move it where the gain is worth it, else leave it",
        ("", "least gain worth a move; common practice, no source"),
    ),
    _check(
        "SUB-10",
        "warn",
        "Low end cannot be computed",
        "Something it needs is missing: reverberation time, low-frequency data, a"
        " free tile, a tap, seats.",
        "mend what the message names",
        ("what is missing is in the message", "the plan itself"),
    ),
    _check(
        "SUB-11",
        "note",
        "What the subwoofer draws",
        "It adds to the amplifier's load, and music spends most of its watts there.",
        "count it like any tap",
        ("it is arithmetic", "sum of taps with insertion loss"),
    ),
)
