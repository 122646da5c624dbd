"""Write a page for every finding and their index: run it after a change of the checks."""

from pathlib import Path

from soffit.check.registry import CHECKS, explain

HERE = Path(__file__).resolve().parent / "findings"


def index_text() -> str:
    """Return the list of all findings as Markdown."""
    lines = [
        "# Findings",
        "",
        "Every check that soffit makes, with a page each. `soffit check --list` prints this list,",
        "`soffit check --explain CODE` prints a page.",
        "",
        "| code | severity | finding |",
        "|--|--|--|",
    ]
    lines += [
        f"| [{item.code}]({item.code}.md) | {item.severity} | {item.title} |" for item in CHECKS
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    HERE.mkdir(exist_ok=True)
    for item in CHECKS:
        (HERE / f"{item.code}.md").write_text(explain(item.code), encoding="utf-8")
    (HERE / "index.md").write_text(index_text(), encoding="utf-8")


if __name__ == "__main__":
    main()
