"""The worked examples of sound and speech are what the package computes."""

import importlib.util
from pathlib import Path

import pytest

DOCS = Path(__file__).resolve().parents[2] / "docs"


def make_pages():
    spec = importlib.util.spec_from_file_location("make_sound_pages", DOCS / "make_sound_pages.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.pages()


def test_worked_examples_are_up_to_date():
    for path, text in make_pages().items():
        assert path.read_text(encoding="utf-8") == text, f"run docs/{path.name}'s script again"


@pytest.mark.parametrize(
    ("page", "headline"),
    [
        # numbers of the published and derived check lists, see tests/published
        ("sound-worked.md", "**91.88 dB**"),
        ("sound-worked.md", "**3.00 m**"),
        ("sound-worked.md", "-9.01 dB"),
        ("speech-worked.md", "**0.9101**"),
        ("speech-worked.md", "**3.00 %**"),
        ("speech-worked.md", "| T = 1.0 s, no noise | 0.588 | fair |"),
    ],
)
def test_headline_numbers(page, headline):
    assert headline in (DOCS / "theory" / page).read_text(encoding="utf-8")
