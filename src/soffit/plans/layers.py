"""What the layers of a drawing hold, guessed from their names; a person's word goes first."""

import re
from collections.abc import Mapping, Sequence
from typing import Final

MEANINGS: Final = ("wall", "door", "window", "room", "text", "obstacle", "grid", "skip")

_WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("skip", r"dim|bemass|cote\b|cota|hatch|schraff|axis|achs|axe\b|furn|mobel|möbel|mobil|case|"
             r"fixt|equip|footer|footing|found|fund|roof|dach|beam|stem|slab|header|site|temp|"
             r"viewport|vport|title|border|rahmen|defpoints|revision|section|schnitt|legend|"
             r"cable|kabel|sheet|marks|footprint|elev(?!ator)|topo|plant|north|sanitary|sanit"),
    ("obstacle", r"light|ltg|lamp|leucht|lumin|sprink|hvac|diffus|luft|fire|smoke|detect|ceil-eq|"
                 r"clng-eq|mech|e-lite|obstac|ventil|aeraul|eclair"),
    ("grid", r"(clg|clng|ceil|decke|plafond).*grid|grid.*(clg|ceil)|t-?bar|raster|tile|rcp|"
             r"soffit-grid|ceil|clng|clg"),
    ("window", r"wind|glaz|fenst|fenet|fenêt|ventana|vindu|glas|curtain"),
    ("door", r"door|tür|tuer|porte\b|puerta|porta\b|dor\b|opening|opng|offnung|öffnung"),
    ("wall", r"wall|wand|wände|waende|mauer|\bmur|muro|pared|parete|tabique|cloison|partition|"
             r"partn|vegg|vägg|стен|壁|墙|column|stütze|colonne|pilar|\bcols?\b"),
    ("text", r"text|note|anno|name|label|room|raum|zone|beschrift|nutzung"),
)  # fmt: skip


def meaning_of_layer(name: str, wishes: Sequence[tuple[str, str]] = ()) -> str:
    """Return what a layer holds: one of :data:`MEANINGS`, or an empty text.

    Parameters
    ----------
    name
        Name of the layer.
    wishes
        Meaning and name that a person gave; ``*`` stands for any letters.

    Examples
    --------
    >>> meaning_of_layer("A-WALL-FULL")
    'wall'
    >>> meaning_of_layer("xref-house$0$A-OPENING")
    'door'
    """
    for meaning, wanted in wishes:
        pattern = ".*".join(re.escape(part) for part in wanted.split("*"))
        if re.fullmatch(pattern, name, re.IGNORECASE):
            return meaning
    own = name.rsplit("$", maxsplit=1)[-1].rsplit("|", maxsplit=1)[-1].lower()
    for meaning, pattern in _WORDS:
        if re.search(pattern, own):
            return meaning
    return ""


def is_room_layer(name: str, wishes: Sequence[tuple[str, str]] = ()) -> bool:
    """Tell whether closed outlines on a layer are rooms.

    Parameters
    ----------
    name
        Name of the layer.
    wishes
        Meaning and name that a person gave.

    Examples
    --------
    >>> is_room_layer("A-AREA"), is_room_layer("Raumpolygone"), is_room_layer("A-WALL")
    (True, True, False)
    """
    told = meaning_of_layer(name, [pair for pair in wishes if pair[0] == "room"])
    if any(pair[0] == "room" for pair in wishes):
        return told == "room"
    own = name.rsplit("$", maxsplit=1)[-1].rsplit("|", maxsplit=1)[-1].lower()
    return bool(re.search(r"area|room|raum|space|zone|nutz|surface|local\b|habita", own)) and not (
        re.search(r"wall|wand|dim|furn|hatch|pattern|txt|text|tag", own)
    )


def wall_layers(
    lengths: Mapping[str, float], wishes: Sequence[tuple[str, str]] = ()
) -> tuple[set[str], str]:
    """Choose the layers that hold walls.

    Parameters
    ----------
    lengths
        Length of all lines by layer. [m]
    wishes
        Meaning and name that a person gave.

    Returns
    -------
    tuple
        Names, and a sentence that says how they were chosen.
    """
    asked = [pair for pair in wishes if pair[0] == "wall"]
    if asked:
        told = {name for name in lengths if meaning_of_layer(name, asked) == "wall"
                and _is_told(name, asked)}  # fmt: skip
        return told, f"walls as asked: {', '.join(sorted(told)) or 'no such layer'}"
    named = {name for name in lengths if meaning_of_layer(name, wishes) == "wall"}
    if named:
        return named, f"walls by the names of layers: {', '.join(sorted(named))}"
    rest = {
        name: length
        for name, length in lengths.items()
        if meaning_of_layer(name, wishes) in {"", "door", "window"}
    }
    most = max(rest.values(), default=0.0)
    kept = {name for name, length in rest.items() if length > 0.05 * most}
    return kept, (
        f"no layer is named after walls: all lines of {', '.join(sorted(kept)) or 'no layer'}"
        " are taken as walls"
    )


def _is_told(name: str, asked: Sequence[tuple[str, str]]) -> bool:
    return any(
        re.fullmatch(".*".join(re.escape(p) for p in wanted.split("*")), name, re.IGNORECASE)
        for _, wanted in asked
    )
