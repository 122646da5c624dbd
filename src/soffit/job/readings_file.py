"""readings.jsonl: what was measured, one reading a line, only ever appended."""

import json
from functools import cache
from typing import Any, Final

from pydantic import BaseModel, ConfigDict, ValidationError

from soffit.errors import JobError
from soffit.job.design_file import plain_record
from soffit.job.locate import Locator
from soffit.job.problems import Problems, add_validation
from soffit.model.readings import Reading

READINGS_FILE: Final = "readings.jsonl"


@cache
def reading_model() -> type[BaseModel]:
    """Return the model of one line; it is built once, when a reading is first read."""

    class ReadingLine(BaseModel):
        """One reading, under one name so that the record inherits these rules."""

        model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

        reading: Reading

    return ReadingLine


def reading_text(reading: Reading) -> str:
    """Return a reading as one line of JSON without line end.

    Parameters
    ----------
    reading
        The reading.
    """
    return json.dumps(plain_record(reading), ensure_ascii=False, sort_keys=True, allow_nan=False)


def parse_readings(text: str, *, name: str = READINGS_FILE) -> tuple[Reading, ...]:
    """Read the text of readings.jsonl.

    Parameters
    ----------
    text
        JSON lines.
    name
        Name of the file as people see it.

    Returns
    -------
    tuple of Reading
        In the order of the file, struck ones included; a key that comes again is ignored.

    Raises
    ------
    JobError
        With line and key path of everything that is wrong.
    """
    found: dict[str, Reading] = {}
    problems: list[Any] = []
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        here = Problems(Locator(f"{name}:{number}"))
        reading = _parse_line(line, here)
        problems += here.found
        if reading is not None:
            found.setdefault(reading.key, reading)
    if problems:
        raise JobError.of(problems)
    return tuple(found.values())


def _parse_line(line: str, problems: Problems) -> Reading | None:
    try:
        raw = json.loads(line)
    except (ValueError, RecursionError):
        problems.add(
            (),
            "the line is not valid JSON",
            why="readings are written one a line, by soffit or the field page",
            do="take the line out, or mend it",
        )
        return None
    model = reading_model()
    try:
        file = model.model_validate_json(json.dumps({"reading": raw}))
    except ValidationError as error:
        add_validation(problems, error, model, under=("reading",))
        return None
    reading: Reading = file.reading  # type: ignore[attr-defined] # the model is made in a function
    return reading


def standing(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return the readings that count: neither struck out nor a strike themselves.

    Parameters
    ----------
    readings
        All entries of the file.

    Returns
    -------
    tuple of Reading
        In their order.
    """
    struck = {entry.strikes for entry in readings if entry.strikes}
    return tuple(entry for entry in readings if not entry.strikes and entry.key not in struck)
