"""Rules that a linter does not know: logarithms, units in docstrings, words that stay out."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "src" / "soffit"
MODULES = sorted(SOURCE.rglob("*.py"))

UNITS = {
    "_m": "m",
    "_m2": "m²",
    "_m3": "m³",
    "_w": "W",
    "_ohm": "Ω",
    "_v": "V",
    "_a": "A",
    "_hz": "Hz",
    "_db": "dB",
    "_dba": "dB",
    "_s": "s",
    "_rad": "rad",
    "_kg": "kg",
    "_degc": "°C",
}
TEXT_ENDINGS = {".py", ".md", ".toml", ".css", ".js", ".html", ".typ", ".json", ".txt", ""}
SKIPPED_FOLDERS = {".git", ".venv", "demo-out", ".hypothesis", ".mypy_cache", ".ruff_cache"}


def _texts() -> list[Path]:
    return [
        path
        for path in sorted(ROOT.rglob("*"))
        if path.is_file()
        and path.suffix in TEXT_ENDINGS
        and not SKIPPED_FOLDERS & set(path.relative_to(ROOT).parts)
        and "cache" not in str(path.relative_to(ROOT))
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_only_the_decibel_module_takes_logarithms_of_ratios(module: Path) -> None:
    if module.name == "decibel.py":
        return
    assert "log10(" not in module.read_text(encoding="utf-8")


def _public_functions(module: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(module.read_text(encoding="utf-8"))
    return [
        node
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_units_in_names_have_their_unit_in_the_docstring(module: Path) -> None:
    missing = []
    for function in _public_functions(module):
        text = ast.get_docstring(function) or ""
        arguments = [*function.args.args, *function.args.kwonlyargs]
        for name in [argument.arg for argument in arguments]:
            match = re.search(r"(_[a-z]+\d?)$", name)
            unit = UNITS.get(match[1]) if match else None
            if unit and name in text and f"{unit}" not in "".join(re.findall(r"\[[^\]]*\]", text)):
                missing.append(f"{function.name}: {name} wants [{unit}]")
            elif unit and name not in text:
                missing.append(f"{function.name}: {name} is not documented")
    assert not missing


def test_no_path_of_a_machine_and_no_registry_host_is_written_anywhere() -> None:
    words = [
        "/wo" + "rk/main",
        "/ro" + "ot/.",
        "pypi." + "org",
        "files.python" + "hosted",
        "regis" + "try.npmjs",
    ]
    found = [
        f"{path.relative_to(ROOT)}: {word}"
        for path in _texts()
        for word in words
        if word in path.read_text(encoding="utf-8", errors="ignore")
    ]
    assert not found


def test_no_todo_is_left() -> None:
    words = ["TO" + "DO", "FIX" + "ME", "XX" + "X:"]
    found = [
        f"{path.relative_to(ROOT)}: {word}"
        for path in MODULES
        for word in words
        if word in path.read_text(encoding="utf-8")
    ]
    assert not found
