"""The tutorial is run as written: its commands end well and say what it promises in bold."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from soffit.cli.main import root

PAGE = Path(__file__).resolve().parents[2] / "docs" / "tutorial.md"


def test_the_tutorial_says_what_happens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = PAGE.read_text(encoding="utf-8")
    (survey,) = re.findall(r"```toml\n(.*?)```", text, flags=re.DOTALL)
    outputs = []
    parts = re.split(r"```console\nsoffit (.*?)\n```", text)
    for words, after in zip(parts[1::2], parts[2::2], strict=True):
        arguments = [part.strip('"') for part in re.findall(r'"[^"]*"|\S+', words)]
        result = CliRunner().invoke(root, arguments, input="", catch_exceptions=False)
        outputs.append(result.output)
        if words.startswith("new"):
            Path("community/job.toml").write_text(survey, encoding="utf-8")
            continue
        promised = re.findall(r"\*\*(.+?)\*\*", after)
        for promise in promised:
            assert promise in result.output, (words, promise)
    assert len(outputs) == 6
