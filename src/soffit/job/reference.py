"""Pages of the manual that list every key of the files people write, and every setting."""

from typing import Any, Final

from pydantic import BaseModel

from soffit.job.catalogue_schema import CatalogueFile
from soffit.job.schema import JobFile
from soffit.tables.settings import settings

_HEAD: Final = """# Keys of job.toml and catalogue.toml

This page is generated from the models by `docs/make_job_file.py`; a test fails when it is old.

- Bare numbers are SI (m, kg, W, V, s, dB; angles in degrees, temperature in °C). Texts carry their
  unit: `"9 ft 6 in"`, `"24 in"`, `"600 mm"`, `"5 lb"`, `"15 dB"`.
- `line_voltage = 70.7` (or `"70.7 V"`) names 100/√2 V; every other voltage is literal.
- A shape is `corner` and `size`, or `at` and `diameter`, or `outline`.
- Every table may carry a `note`. An unknown key is an error with a suggestion.
- What nobody surveyed is left out: it is assumed, and every assumption is printed.
- The order of keys and tables does not matter; the order inside a list does.
"""

_SETTINGS_HEAD: Final = """# Settings and limits

This page is generated from the tables by `docs/make_job_file.py`. A job changes a value in
`[limits]`; papers print the source beside every limit that they use. Defaults and ranges are SI.

| key | default | unit | from | to | meaning | source |
|--|--|--|--|--|--|--|
"""

_PLAIN: Final = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
}


def _kind(schema: dict[str, Any]) -> str:
    """Word the type of a key."""
    kind = schema.get("type", "")
    if "anyOf" in schema:
        parts = [part for part in schema["anyOf"] if part.get("type") != "null"]
        words = " or ".join(_kind(part) for part in parts)
    elif "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        words = f"table [{name}](#{name.lower()})"
    elif "enum" in schema:
        words = ", ".join(f"`{item}`" for item in schema["enum"])
    elif "const" in schema:
        words = f"`{schema['const']}`"
    elif kind == "array":
        words = f"list of {_kind(schema.get('items', {}))}"
    elif kind == "object":
        inner: dict[str, Any] = schema.get("additionalProperties") or next(
            iter(schema["patternProperties"].values())
        )
        words = f"by key: {_kind(inner)}"
    elif isinstance(kind, list):
        words = f"number ({schema['x-unit']}) or text" if "x-unit" in schema else "number or text"
    else:
        words = _PLAIN[str(kind)]
    return words


def _default(schema: dict[str, Any], *, needed: bool) -> str:
    value = schema.get("default")
    if needed:
        return "needed"
    if value is None or value in ("", [], {}):
        return ""
    return f"`{str(value).lower() if isinstance(value, bool) else value}`"


def _table(title: str, schema: dict[str, Any]) -> list[str]:
    lines = [f"### {title}", "", str(schema.get("description", "")), ""]
    lines += ["| key | value | default | meaning |", "|--|--|--|--|"]
    required = schema.get("required", [])
    for name, item in schema.get("properties", {}).items():
        words = str(item.get("description", ""))
        if name != "note":
            shown = "" if words.startswith("A number in ") else words
            default = _default(item, needed=name in required)
            lines.append(f"| `{name}` | {_kind(item)} | {default} | {shown} |")
    return [*lines, ""]


def _file(title: str, model: type[BaseModel]) -> list[str]:
    schema = model.model_json_schema()
    definitions: dict[str, Any] = schema.get("$defs", {})
    lines = [f"## {title}", "", *_table(model.__name__, schema)]
    for name in sorted(definitions):
        lines += _table(name, definitions[name])
    return lines


def reference_page() -> str:
    """Return the page of keys as Markdown."""
    lines = [_HEAD, *_file("job.toml", JobFile), *_file("catalogue.toml", CatalogueFile)]
    return "\n".join(lines).rstrip() + "\n"


def settings_page() -> str:
    """Return the page of all settings as Markdown."""
    rows = [
        f"| `{row.name}` | {row.default:g} | {row.unit} | {row.least:g} | {row.most:g} "
        f"| {row.help} | {row.source} |"
        for row in settings()
    ]
    return _SETTINGS_HEAD + "\n".join(rows) + "\n"
