"""design.json: what was decided, one record a line, the same bytes for the same content."""

import dataclasses
import json
from functools import cache
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, ValidationError

from soffit.errors import JobError
from soffit.job.build import natural
from soffit.job.locate import Locator, Path
from soffit.job.problems import Problems, add_validation
from soffit.model.decisions import Design

DESIGN_FILE: Final = "design.json"
DESIGN_FORMAT: Final = 1
_DECIMALS: Final = 9
_FARTHEST_M: Final = 1e8
"""Farther from the origin than any map of the land begins. [m]"""


@cache
def design_model() -> type[BaseModel]:
    """Return the model of the file; it is built once, when a design is first read."""

    class DesignFile(BaseModel):
        """All of design.json, under one name so that its records inherit these rules."""

        model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

        design: Design

    return DesignFile


def _plain(value: Any) -> Any:  # noqa: ANN401 - any value of a record
    if isinstance(value, float):
        rounded = round(value, _DECIMALS)
        # 3 and 3.0 are one number, so they must be one text
        return int(rounded) if rounded.is_integer() else rounded
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _plain(item)
            for field in dataclasses.fields(value)
            if not _is_default(item := getattr(value, field.name), field)
        }
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value


def _is_default(value: Any, field: "dataclasses.Field[Any]") -> bool:  # noqa: ANN401 - any value
    return field.default is not dataclasses.MISSING and value == field.default


def plain_record(record: object) -> dict[str, Any]:
    """Return a record as JSON values: floats rounded to 1e-9, defaults left out.

    Parameters
    ----------
    record
        Any record of the model.
    """
    plain: dict[str, Any] = _plain(record)
    return plain


def canonical_design(design: Design) -> Design:
    """Return a design with its records in the order of the file.

    Parameters
    ----------
    design
        Any design.
    """
    return dataclasses.replace(
        design,
        made_with=tuple(sorted(design.made_with)),
        speakers=tuple(sorted(design.speakers, key=lambda item: natural(item.key))),
        lines=tuple(sorted(design.lines, key=lambda item: natural(item.key))),
        amplifiers=tuple(sorted(design.amplifiers, key=lambda item: natural(item.key))),
        rooms=tuple(sorted(design.rooms, key=lambda item: natural(item.room_key))),
    )


def design_text(design: Design) -> str:
    """Return the text of design.json: sorted, one record a line.

    Parameters
    ----------
    design
        Any design.

    Returns
    -------
    str
        JSON; equal designs give equal texts.
    """
    ordered = canonical_design(design)
    head: dict[str, Any] = {
        "format": DESIGN_FORMAT,
        "revision": ordered.revision,
        "job_hash": ordered.job_hash,
        "date": ordered.date,
        "next_key": ordered.next_key,
    }
    lines = [f" {json.dumps(key)}: {_dump(value)}" for key, value in head.items()]
    for name in ("made_with", "speakers", "lines", "amplifiers", "rooms"):
        items = ",\n".join(f"  {_dump(_plain(item))}" for item in getattr(ordered, name))
        lines.append(f" {json.dumps(name)}: [\n{items}\n ]" if items else f' "{name}": []')
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _dump(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, allow_nan=False)


def parse_design(text: str, *, name: str = DESIGN_FILE) -> Design:
    """Read the text of design.json.

    Parameters
    ----------
    text
        JSON.
    name
        Name of the file as people see it.

    Returns
    -------
    Design
        The design.

    Raises
    ------
    JobError
        With the key path of everything that is wrong.
    """
    raw = _parse_json(text, name)
    found = raw.pop("format", None)
    if found != DESIGN_FORMAT or isinstance(found, bool):
        raise JobError(
            what="the format of the design cannot be read",
            where=f"{name}  format",
            why=f"this version reads format {DESIGN_FORMAT}, the file says {str(found)[:40]}",
            do="open it with a newer version of soffit, or move the file away and design again",
        )
    problems = Problems(Locator(name))
    model = design_model()
    try:
        file = model.model_validate_json(json.dumps({"design": raw}))
    except ValidationError as error:
        add_validation(problems, error, model, under=("design",))
        raise JobError.of(problems.found) from None
    design: Design = file.design  # type: ignore[attr-defined] # the model is made in a function
    _check_design(problems, design)
    problems.stop()
    return design


def _parse_json(text: str, name: str) -> dict[str, Any]:
    try:
        raw = json.loads(text)
    except json.JSONDecodeError as error:
        raise JobError(
            what=f"{name} is not valid JSON: {error.msg}",
            where=f"{name}:{error.lineno}  column {error.colno}",
            why="the file was changed or cut off outside soffit",
            do="take it back from a copy, or move it away and design again",
        ) from None
    except (RecursionError, ValueError) as error:
        raise JobError(
            what=f"{name} cannot be read",
            where=name,
            why=f"it is nested too deeply or holds a number that is too long ({error})"[:200],
            do="take it back from a copy, or move it away and design again",
        ) from None
    if not isinstance(raw, dict):
        raise JobError(
            what=f"{name} is no design",
            where=name,
            why="its outermost part is not a table",
            do="take it back from a copy, or move it away and design again",
        )
    return raw


def _check_design(problems: Problems, design: Design) -> None:
    """Check what would make a design unreadable: double keys and references to nothing."""
    for name in ("speakers", "lines", "amplifiers"):
        seen: set[str] = set()
        for index, item in enumerate(getattr(design, name)):
            if item.key in seen:
                problems.add(
                    (name, index, "key"),
                    f"key {item.key!r} is used twice",
                    why="a key names one thing for ever",
                    do="take the file back from a copy, or design again",
                )
            seen.add(item.key)
    speakers = {speaker.key for speaker in design.speakers}
    lines = {line.key for line in design.lines}
    for index, line in enumerate(design.lines):
        for place, key in enumerate(line.speaker_keys):
            if key not in speakers:
                problems.unknown(("lines", index, "speaker_keys", place), key, speakers, "speaker")
    for index, speaker in enumerate(design.speakers):
        if speaker.line_key is not None and speaker.line_key not in lines:
            problems.unknown(("speakers", index, "line_key"), speaker.line_key, lines, "line")
    _check_numbers(problems, design)


def _check_numbers(problems: Problems, design: Design) -> None:
    """Check the numbers that everything is divided by or multiplied with."""

    def need(path: Path, value: float, least: float, most: float) -> None:
        if not least <= value <= most:
            problems.add(
                path,
                f"{path[-1]} of {value:g} is not possible",
                why=f"it lies between {least:g} and {most:g}",
                do="take the file back from a copy, or design again",
            )

    for index, speaker in enumerate(design.speakers):
        at: Path = ("speakers", index)
        need((*at, "tap", "power_w"), speaker.tap.power_w, 1e-3, 1e5)
        need((*at, "tap", "voltage_v"), speaker.tap.voltage_v, 1.0, 1000.0)
        need((*at, "mount_height_m"), speaker.mount_height_m, -1000.0, 1000.0)
        need((*at, "position"), max(speaker.position, key=abs), -_FARTHEST_M, _FARTHEST_M)
    for index, line in enumerate(design.lines):
        at = ("lines", index)
        need((*at, "voltage_v"), line.voltage_v, 1.0, 1000.0)
        for number, run in enumerate(line.runs):
            need((*at, "runs", number, "length_m"), run.length_m, 0.0, 1e6)
        for number, joint in enumerate(line.joints):
            need((*at, "joints", number, "attenuation_db"), joint.attenuation_db, 0.0, 120.0)
            far = max(joint.position, key=abs)
            need((*at, "joints", number, "position"), far, -_FARTHEST_M, _FARTHEST_M)
