"""Schemas and pages of the job are those of the models, and the examples in them run."""

import json
import re
from pathlib import Path

import pytest

from soffit.job.api import create_job, load_demo_catalogue, parse_job
from soffit.job.reference import reference_page, settings_page
from soffit.job.schemas import NAMES, make_schema, schema_text, shipped_schema_text

DOCS = Path(__file__).resolve().parents[2] / "docs"
RENEW = "run docs/make_job_file.py"


@pytest.mark.parametrize("name", NAMES)
def test_the_shipped_schemas_are_those_of_the_models(name: str):
    assert shipped_schema_text(name) == schema_text(name), RENEW


@pytest.mark.parametrize("name", NAMES)
def test_schemas_refuse_unknown_keys_everywhere(name: str):
    schema = json.loads(shipped_schema_text(name))
    objects = [schema, *schema.get("$defs", {}).values()]
    assert all(item["additionalProperties"] is False for item in objects if "properties" in item)


def test_every_key_of_the_job_file_is_described():
    schema = make_schema("job.toml")
    for title, table in {"JobFile": schema, **schema["$defs"]}.items():
        for key, item in table["properties"].items():
            assert item.get("description") or "$ref" in item, f"{title}.{key} has no description"


def test_the_page_of_keys_is_that_of_the_models():
    assert (DOCS / "reference" / "job-file.md").read_text(encoding="utf-8") == reference_page(), (
        RENEW
    )


def test_the_page_of_settings_is_that_of_the_tables():
    assert (DOCS / "reference" / "settings.md").read_text(encoding="utf-8") == settings_page(), (
        RENEW
    )


def test_the_examples_of_the_how_to_page_are_jobs(tmp_path: Path):
    text = (DOCS / "how-to" / "job-folder.md").read_text(encoding="utf-8")
    jobs = [block for block in re.findall(r"```toml\n(.*?)```", text, re.S) if "format" in block]
    assert jobs
    for number, block in enumerate(jobs):
        assert parse_job(block, load_demo_catalogue()).survey.rooms
        create_job(tmp_path / str(number), block)
