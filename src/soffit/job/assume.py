"""What is taken where nobody surveyed: values from tables, each printed as an assumption."""

import re
from collections.abc import Mapping
from typing import Final

from soffit.job.locate import Path, path_text
from soffit.model.survey import Assumption, Ceiling, Noise, Programme, Surface
from soffit.tables.load import load_table

CEILING_HEIGHT_M: Final = 2.7
"""Height of a ceiling that nobody measured; common practice, no source. [m]"""

PITCH_IMPERIAL_M: Final = 0.6096
PITCH_METRIC_M: Final = 0.6
"""Pitch of a grid that nobody measured: 24 in or 600 mm; common practice, no source. [m]"""

_PRACTICE: Final = "common practice, no source"

_CEILING_MATERIAL: Final[Mapping[str, str]] = {
    "grid": "mineral_fibre_tile_ordinary",
    "concealed": "mineral_fibre_tile_ordinary",
    "plasterboard": "gypsum_board_on_studs",
    "open": "painted_concrete",
}


class Assumptions:
    """Assumptions of one job, in the order in which they were made."""

    def __init__(self) -> None:
        self.made: list[Assumption] = []

    def add(self, path: Path, text: str, source: str = _PRACTICE) -> None:
        """Note one assumption.

        Parameters
        ----------
        path
            Where the value would have stood.
        text
            What was taken, with value and unit.
        source
            Where the value comes from.
        """
        self.made.append(Assumption(path=path_text(path), text=text, source=source))


def room_row(use: str, label: str) -> Mapping[str, str]:
    """Return the row of room defaults for a use.

    Parameters
    ----------
    use, label
        Free words of the survey; the label is looked at where the use says nothing.

    Returns
    -------
    Mapping
        Printed texts by column.
    """
    rows = load_table("room_defaults").rows
    for text in (use, label):
        words = [word.removesuffix("s") for word in re.findall(r"\w+", text.lower())]
        scored = [(_score(words, row["words"]), -index) for index, row in enumerate(rows)]
        (hits, _), index = max(scored)
        if hits:
            return rows[-index]
    return rows[-1]


def _score(words: list[str], known: str) -> tuple[int, int]:
    """Count the known words, and say where the last of them stands: it is the noun."""
    names = {name.removesuffix("s") for name in known.split()}
    places = [place for place, word in enumerate(words) if word in names]
    return len(places), max(places, default=-1)


def assume_noise(made: Assumptions, path: Path, row: Mapping[str, str]) -> Noise:
    """Return the noise of a room that nobody measured.

    Parameters
    ----------
    made
        Where to note it.
    path
        Path of the room's noise.
    row
        Defaults of its use.
    """
    kind, value = row["noise_kind"], float(row["noise_level_db"])
    words = f"NC-{value:.0f}" if kind == "nc" else f"{value:.0f} dBA"
    text = f"background noise {words} (as {row['use']})"
    made.add(path, text, row["noise_source"])
    return Noise(
        kind="nc" if kind == "nc" else "dba", value=value, source=f"assumed: {row['noise_source']}"
    )


def assume_surfaces(
    made: Assumptions,
    path: Path,
    row: Mapping[str, str],
    ceilings: tuple[Ceiling, ...],
    stated: tuple[Surface, ...],
) -> tuple[Surface, ...]:
    """Complete the surfaces of a room from which its reverberation is computed.

    Parameters
    ----------
    made
        Where to note it.
    path
        Path of the room's surfaces.
    row
        Defaults of its use.
    ceilings
        Its ceilings; the first one's kind chooses the material.
    stated
        What the survey says.

    Returns
    -------
    tuple of Surface
        Stated surfaces, then one for each part that is missing.
    """
    kind = ceilings[0].kind if ceilings else "grid"
    usual = {
        "floor": row["floor"],
        "walls": "gypsum_board_on_studs",
        "ceiling": _CEILING_MATERIAL[kind],
    }
    have = {surface.part for surface in stated}
    missing = {part: material for part, material in usual.items() if part not in have}
    if not missing:
        return stated
    words = ", ".join(f"{part} {name.replace('_', ' ')}" for part, name in missing.items())
    made.add(path, f"reverberation is computed with {words}")
    return (
        *stated,
        *(
            Surface(part=part, material=missing[part])
            for part in ("floor", "walls", "ceiling")
            if part in missing
        ),
    )


def assume_margin_db(made: Assumptions, path: Path, programme: Programme) -> float:
    """Return the margin over noise of a brief that states neither level nor margin. [dB].

    Parameters
    ----------
    made
        Where to note it.
    path
        Path of the brief.
    programme
        What is played.
    """
    table = load_table("programme_defaults")
    margin = table.number("margin_db", programme=programme)
    made.add((*path, "margin"), f"{programme} {margin:.0f} dB over the noise", table.source.cite())
    return margin
