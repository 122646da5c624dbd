"""Write docs/reference/validation.md: every published value beside ours, from tests/published.

Run it from the root of the repository: ``python docs/make_validation.py``.
"""

import ast
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "reference" / "validation.md"


def comparisons() -> list[dict[str, object]]:
    """Run tests/published and return every comparison with a printed value."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows.jsonl"
        environment = {**os.environ, "SOFFIT_VALIDATION": str(file)}
        subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/published"],
            cwd=ROOT,
            env=environment,
            check=True,
            stdout=subprocess.DEVNULL,
        )
        return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def sources(module: Path) -> tuple[str, dict[str, str]]:
    """Return what a module says of its sources, and each test's own sentence."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    texts = {
        node.name: (ast.get_docstring(node) or "").replace("\n", " ")
        for node in tree.body
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }
    return ast.get_docstring(tree) or "", texts


def page() -> str:
    """Return the page."""
    rows = comparisons()
    lines = [
        "# Validation",
        "",
        "Made by `docs/make_validation.py` from `tests/published`. Printed is the published value",
        "with its own digits, ours what soffit computes; a test fails where they differ by more",
        "than half a unit of the last printed digit. How a source is known (read, read in a",
        "reproduction, from memory) stands under its heading. Values that a test compares in",
        "another way (derived ones, exact ones, inequalities) are listed by name.",
        "",
    ]
    for module in sorted((ROOT / "tests" / "published").glob("test_*.py")):
        about, texts = sources(module)
        lines += [f"## {module.stem.removeprefix('test_').replace('_', ' ')}", "", about, ""]
        mine = [row for row in rows if f"/{module.name}::" in str(row["test"])]
        lines += ["| place | printed | ours | difference |", "|--|--|--|--|"]
        for row in mine:
            name = str(row["test"]).split("::")[-1].removeprefix("test_").replace("_", " ")
            name = name.replace("|", "/")
            ours, text = float(str(row["ours"])), str(row["printed"])
            away = ours - float(text)
            shown = f"{away:+.2g}" if abs(away) > 1e-9 * max(1.0, abs(ours)) else "0"
            lines.append(f"| {name} | {text} | {ours:.6g} | {shown} |")
        compared = {str(row["test"]).split("::")[-1].split("[")[0] for row in mine}
        others = [name for name in texts if name not in compared]
        lines += ["", "Compared in another way:", ""] if others else [""]
        for name in others:
            sentence = f": {texts[name]}" if texts[name] else ""
            lines.append(f"- {name.removeprefix('test_').replace('_', ' ')}{sentence}")
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
