"""Findings about the sheets that will be printed, worded where they are laid out."""

from typing import Final

from soffit.check.kit import Check
from soffit.check.subwoofer import passed_on

CHECKS: Final = (
    Check(
        code="PAPER-01",
        severity="warn",
        title="Letters that the papers' font lacks",
        why="Such a letter is printed as its code in brackets, so that nothing is lost in silence;"
        " on a ladder nobody reads codes.",
        do="write the name in letters of the Latin, Greek or Cyrillic alphabets, or live with the"
        " codes",
        find=passed_on("PAPER-01"),
        source="the font that comes with the papers",
        has_mend=False,
        no_mend="only a person knows how a name is written otherwise",
        passes_on=True,
    ),
)
"""Checks of sheets."""
