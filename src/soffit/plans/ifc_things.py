"""Lights, air outlets, sprinklers, detectors and what else hangs in or over ceilings of a model."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from soffit.model.survey import ObstacleKind
from soffit.plans.ifc_model import Mesh, Mesher, names_of

ThingKind = ObstacleKind | str

_CLASSES: Final[dict[str, ObstacleKind]] = {
    "IfcLightFixture": "light",
    "IfcLamp": "light",
    "IfcAirTerminal": "air outlet",
    "IfcAirTerminalBox": "duct",
    "IfcCooledBeam": "air outlet",
    "IfcFireSuppressionTerminal": "sprinkler",
    "IfcSensor": "detector",
    "IfcAlarm": "detector",
    "IfcDuctSegment": "duct",
    "IfcDuctFitting": "duct",
    "IfcDuctSilencer": "duct",
    "IfcDamper": "duct",
    "IfcPipeSegment": "pipe",
    "IfcPipeFitting": "pipe",
    "IfcCableCarrierSegment": "cable tray",
    "IfcCableCarrierFitting": "cable tray",
    "IfcBeam": "beam",
    "IfcFan": "fan",
    "IfcUnitaryEquipment": "other",
    "IfcSpaceHeater": "other",
}
"""Kind by class of the element or of its type (whose class name ends in Type)."""

_WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("speaker", r"loud ?speaker|speakers?\b|lautsprecher|haut-parleur|altavo|altoparl|högtal|"
                r"スピーカ"),
    ("sprinkler", r"sprinkler|rociador|sprinkleur|спринклер|スプリンクラ"),
    ("detector", r"smoke|detector|detecteur|détecteur|melder\b|rauchm|rivelator|heat sensor|"
                 r"датчик"),
    ("air outlet", r"diffus|difusor|grille|\bgrill|register|luftauslass|auslass|air terminal|"
                   r"supply air|return air|exhaust|zuluft|abluft|rejilla|bouche|anemostat"),
    ("light", r"light|luminair|luminaria|leuchte|lampe|lamp\b|lampada|troffer|pendant|downl|"
              r"\bspot|sconce|chandelier|lumière|armatur|belysning|светильник|照明|led\b"),
    ("sign", r"\bexit\b|\bsign\b|signage|fluchtweg|notausgang|emergency sign"),
    ("fan", r"ceiling fan|deckenventilator"),
    ("hatch", r"access panel|hatch|revisionsklappe|trappe"),
    ("duct", r"\bduct|luftkanal|gaine\b|conducto"),
    ("pipe", r"\bpipe|rohr\b"),
    ("cable tray", r"cable tray|kabelpritsche|kabeltrasse|cable ladder|chemin de c"),
    ("curtain", r"curtain (track|rail)|vorhangschiene"),
)  # fmt: skip
_NOT_OVERHEAD: Final = re.compile(
    r"switch|receptacle|socket|panelboard|schalter|steckdose|interrupteur|\bprise\b|dimmer|keypad|"
    r"thermostat|button|call point|pull station|power outlet|duplex outlet|data outlet|enchufe|"
    r"выключатель|スイッチ",
    re.IGNORECASE,
)
_SKIPPED: Final = re.compile(r"SWITCH|OUTLET|APPLIANCE|PROTECTIVEDEVICE|CONTROLLER|PUMP|BOILER")


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """An element that may be an obstacle, with its doubts.

    Parameters
    ----------
    kind
        Kind as surveyed, or ``speaker``.
    label, origin_id
        Its name and its global id in the model.
    mesh
        Its body. [m]
    doubt
        Why its kind is not sure.
    vetoed
        The word by which it is no thing of a ceiling; empty if there is none.
    """

    kind: str
    label: str
    origin_id: str
    mesh: Mesh
    doubt: str = ""
    vetoed: str = ""
    facts: tuple[tuple[str, str], ...] = ()


def kind_by_words(names: Sequence[str]) -> str:
    """Return the kind that names tell, or an empty text.

    Parameters
    ----------
    names
        Names of an element and its type.

    Examples
    --------
    >>> kind_by_words(["Recessed downlight 150"])
    'light'
    """
    for name in names:
        for kind, pattern in _WORDS:
            if re.search(pattern, name, re.IGNORECASE):
                return kind
    return ""


def not_overhead(names: Sequence[str]) -> str:
    """Return the word by which something is no thing of a ceiling, or an empty text.

    Parameters
    ----------
    names
        Names of an element and its type.

    Examples
    --------
    >>> not_overhead(["Lighting Switches:Single Pole"])
    'Switch'
    """
    for name in names:
        found = _NOT_OVERHEAD.search(name)
        if found:
            return found.group(0)
    return ""


def _class_of(element: Any, kind: Any) -> str:  # noqa: ANN401 untyped library
    """Return the class that tells most: that of the element, else that of its type."""
    if element.is_a() in _CLASSES:
        return str(element.is_a())
    if kind is not None:
        return str(kind.is_a()).removesuffix("Type")
    return str(element.is_a())


def _typed(element: Any, kind: Any, names: list[str]) -> tuple[str, str]:  # noqa: ANN401 untyped library
    """Return kind and doubt; an empty kind for what is nothing overhead."""
    name = _class_of(element, kind)
    words = kind_by_words(names)
    told = str(
        getattr(element, "PredefinedType", None) or getattr(kind, "PredefinedType", None) or ""
    ).upper()
    if told == "SPEAKER" or (name == "IfcAudioVisualAppliance" and words in {"", "speaker"}):
        return "speaker", ""
    by_class = _CLASSES.get(name, "")
    if name == "IfcFireSuppressionTerminal" and told not in {"SPRINKLER", "", "NOTDEFINED"}:
        by_class = "sprinkler" if words == "sprinkler" else ""
    if not by_class:
        if not words or (_SKIPPED.search(name.upper()) and words not in {"detector", "speaker"}):
            return "", ""
        return words, f"taken as {words} by its name; the model types it as {name}"
    if words and words != by_class and {by_class, words} != {"duct", "air outlet"}:
        if by_class in {"detector", "other"} or words in {"sprinkler", "speaker"}:
            return words, f"typed as {name}, but its name says {words}"
        return by_class, f"typed as {name}, though its name says {words}"
    return by_class, ""


def things_of(model: Any, mesher: Mesher) -> Iterator[Thing]:  # noqa: ANN401 untyped library
    """Yield what may hang in, under or over a ceiling.

    Parameters
    ----------
    model
        The model.
    mesher
        Gives shapes; what types share is meshed once.

    Yields
    ------
    Thing
        Each with its body; what has none is left out.
    """
    from ifcopenshell.util.element import get_type

    elements = []
    for name in ("IfcDistributionElement", "IfcBuildingElementProxy", "IfcBeam", "IfcLightFixture"):
        try:
            elements += model.by_type(name)
        except RuntimeError:  # the schema of this model has no such class
            continue
    seen: set[int] = set()
    for element in elements:
        if element.id() in seen:
            continue
        seen.add(element.id())
        names = names_of(element)
        kind, doubt = _typed(element, get_type(element), names)
        if not kind and element.is_a("IfcFlowTerminal") and _says_speaker(element):
            kind = "speaker"  # the older schema has no class for them
        if not kind:
            continue
        mesh = mesher.mesh(element)
        if mesh is None:
            continue
        yield Thing(
            kind=kind,
            label=_label(names, kind),
            origin_id=str(element.GlobalId),
            mesh=mesh,
            doubt=doubt,
            vetoed=not_overhead(names),
            facts=_facts(element) if kind == "speaker" else (),
        )


def _says_speaker(element: Any) -> bool:  # noqa: ANN401 untyped library
    sets = [getattr(link, "RelatingPropertyDefinition", None) for link in element.IsDefinedBy or ()]
    return any("speaker" in str(getattr(item, "Name", "") or "").lower() for item in sets)


def _label(names: list[str], kind: str) -> str:
    """Return a name for people: without running numbers, and no word of it twice."""
    if not names:
        return kind
    parts = re.sub(r":\d+$", "", names[0]).removeprefix("M_").split(":")
    short = ", ".join(dict.fromkeys(part.strip() for part in parts if part.strip()))
    return short[:48] or kind


def _facts(element: Any) -> tuple[tuple[str, str], ...]:  # noqa: ANN401 untyped library
    from ifcopenshell.util.element import get_psets

    return tuple(
        (str(name), str(value))
        for values in get_psets(element).values()
        for name, value in values.items()
        if name != "id" and isinstance(value, str | int | float)
    )
