"""JSON Schemas of the files of a job, made from the models that read them."""

import json
from importlib import resources
from typing import Any, Final

from soffit.job.catalogue_schema import CatalogueFile
from soffit.job.design_file import DESIGN_FORMAT, design_model
from soffit.job.readings_file import reading_model
from soffit.job.schema import JobFile

NAMES: Final = ("job.toml", "catalogue.toml", "design.json", "readings.jsonl")
DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


def _inner(schema: dict[str, Any], name: str) -> dict[str, Any]:
    """Return the schema of the record that a model wraps under one name."""
    reference = schema["properties"][name]["$ref"].rsplit("/", 1)[-1]
    definitions: dict[str, Any] = schema["$defs"]
    record: dict[str, Any] = definitions.pop(reference)
    if definitions:
        record["$defs"] = definitions
    return record


def make_schema(name: str) -> dict[str, Any]:
    """Return the schema of a file as the models have it now.

    Parameters
    ----------
    name
        One of :data:`NAMES`; for ``readings.jsonl`` it describes one line.

    Returns
    -------
    dict
        JSON Schema.
    """
    if name == "job.toml":
        schema = JobFile.model_json_schema()
    elif name == "catalogue.toml":
        schema = CatalogueFile.model_json_schema()
    elif name == "design.json":
        schema = _inner(design_model().model_json_schema(), "design")
        schema["properties"]["format"] = {"const": DESIGN_FORMAT, "type": "integer"}
        schema["required"] = sorted({*schema.get("required", []), "format"})
    else:
        schema = _inner(reading_model().model_json_schema(), "reading")
    return {"$schema": DIALECT, **schema, "title": name}


def schema_text(name: str) -> str:
    """Return the schema of a file as the models have it now, as text.

    Parameters
    ----------
    name
        One of :data:`NAMES`.
    """
    return json.dumps(make_schema(name), indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def shipped_schema_text(name: str) -> str:
    """Return the schema of a file that ships with soffit.

    Parameters
    ----------
    name
        One of :data:`NAMES`.
    """
    file = resources.files("soffit.job") / "schemas_json" / f"{name}.schema.json"
    return file.read_text(encoding="utf-8")
