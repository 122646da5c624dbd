"""Findings about a layout that the search for it words; listed and explained here."""

from typing import Final

from soffit.check.kit import Check
from soffit.check.subwoofer import passed_on

CHECKS: Final = (
    Check(
        code="PLACE-01",
        severity="warn",
        title="Evenness not met",
        why="Some ears are too loud or too soft for what was asked. Quiet seats turn the whole"
        " system up; loud seats complain.",
        do="the finding names the limit that binds (things in the way, ears near the walls, the"
        " type's directivity, a count or spacing fixed by the brief) and what would meet the"
        " brief; each was tried. Follow it, or agree on what is reached",
        find=passed_on("PLACE-01"),
        source="the brief's evenness over its share of the ears. The most even layout found is"
        " used meanwhile",
        no_mend="the answer is another layout, brief or type; the design lists the alternatives",
        passes_on=True,
    ),
    Check(
        code="PLACE-02",
        severity="warn",
        title="Level not reached on any tap",
        why="Speech drowns in the noise, or the amplifier is driven into clipping to make up for"
        " it.",
        do="choose a type with more sensitivity or a higher tap, or more speakers; or ask for less",
        find=passed_on("PLACE-02"),
        source="the level of the brief, or noise plus margin: mean over the ears, programme with"
        " its peaks filling the line",
        no_mend="the answer is another layout, brief or type; the design lists the alternatives",
        passes_on=True,
    ),
    Check(
        code="PLACE-03",
        severity="note",
        title="Level assumed",
        why="Taps were chosen for a noise or a margin that nobody surveyed. The room may need"
        " more, or less.",
        do="measure the noise with the room in use, or name a level in the brief",
        find=passed_on("PLACE-03"),
        source="settings `place_noise_dba` and `place_margin_over_noise_db`",
        no_mend="only a person on site can measure it",
        passes_on=True,
    ),
    Check(
        code="PLACE-04",
        severity="warn",
        title="Listening area outside the room",
        why="A part of it has no ears in it that could be counted: the drawing of the area or of"
        " the room is wrong.",
        do="draw the listening area inside the walls. Only the part inside is counted",
        find=passed_on("PLACE-04"),
        source="the outline of the room",
        no_mend="where people listen is known to the person who drew it",
        passes_on=True,
    ),
    Check(
        code="PLACE-05",
        severity="note",
        title="Speakers beside the pattern",
        why="Something is in the way of the pattern, and a row that is not straight shows.",
        do="accept it, or move what is in the way",
        find=passed_on("PLACE-05"),
        source="setting `place_nudge_ratio` limits how many",
        no_mend="what is in the way belongs to others",
        passes_on=True,
    ),
)
