"""The manual: generated pages are current, links lead somewhere, the tutorial says what happens."""

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest
from click.testing import CliRunner

from soffit.cli.main import COMMANDS, root

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").rglob("*.md"))]
_LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")


def _script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "docs" / f"{name}.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", PAGES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_link_leads_to_a_file(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    broken = [
        target
        for target in _LINK.findall(text)
        if "://" not in target and not (page.parent / target).exists()
    ]
    assert not broken


def test_the_page_of_commands_is_what_the_commands_say() -> None:
    made = _script("make_commands")
    assert made.PAGE.read_text(encoding="utf-8") == made.page()


@pytest.mark.parametrize("name", [name for name, _ in COMMANDS])
def test_every_command_shows_an_example_and_takes_json(name: str) -> None:
    result = CliRunner().invoke(root, [name, "--help"])
    assert result.exit_code == 0
    assert "Example" in result.output
    assert "--json" in result.output


def test_the_readme_opens_with_the_job_in_one_paragraph() -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "# soffit"
    paragraph = " ".join(lines[2 : lines.index("", 2)])
    assert paragraph.startswith("A sound installer")
    assert "make demo" not in paragraph
