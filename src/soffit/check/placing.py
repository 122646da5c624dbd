"""Findings about a layout that the search for it words; listed and explained here."""

from typing import Final

from soffit.check.kit import Check
from soffit.check.subwoofer import passed_on

_DESIGN: Final = "the answer is another layout, brief or type; the design lists the alternatives"

CHECKS: Final = (
    Check(
        code="PLACE-01",
        severity="warn",
        title="Layout less even than the brief",
        why="No layout that was looked at holds the asked spread; what binds it is named.",
        do="use the layout that is named, or ask for what can be had",
        find=passed_on("PLACE-01"),
        source="the brief",
        no_mend=_DESIGN,
        passes_on=True,
    ),
    Check(
        code="PLACE-02",
        severity="warn",
        title="Level out of reach of the taps",
        why="Even the highest tap that the type has does not reach the wanted level.",
        do="choose a type with more sensitivity or a higher tap, or more speakers",
        find=passed_on("PLACE-02"),
        source="the brief",
        no_mend=_DESIGN,
        passes_on=True,
    ),
    Check(
        code="PLACE-03",
        severity="note",
        title="Taps chosen for an assumed noise",
        why="Nobody surveyed the noise; taps follow from the guess.",
        do="survey the noise or name a level in the brief",
        find=passed_on("PLACE-03"),
        source="the survey",
        no_mend="only a person on site can measure it",
        passes_on=True,
    ),
    Check(
        code="PLACE-04",
        severity="warn",
        title="Listening area outside the room",
        why="Ears outside the walls cannot be counted.",
        do="draw the listening area inside the walls",
        find=passed_on("PLACE-04"),
        source="the survey",
        no_mend="where people listen is known to the person who drew it",
        passes_on=True,
    ),
    Check(
        code="PLACE-05",
        severity="note",
        title="Speakers beside the pattern",
        why="Something is in the way of a regular pattern; an architect may mind.",
        do="accept it, or move what is in the way",
        find=passed_on("PLACE-05"),
        source="the plan itself",
        no_mend="what is in the way belongs to others",
        passes_on=True,
    ),
)
