"""Write docs/reference/commands.md: the help of every command, as the command prints it.

Run it from the root of the repository: ``python docs/make_commands.py``.
"""

from pathlib import Path

import click
from click.testing import CliRunner

from soffit.cli.main import COMMANDS, root

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "commands.md"


def page() -> str:
    """Return the page."""
    runner = CliRunner()
    width = {"terminal_width": 100, "max_content_width": 100}
    lines = [
        "# Commands",
        "",
        "Made by `docs/make_commands.py`: what each command says with `--help`. Every command",
        "takes `--json`; exit codes are 0 (clean), 1 (findings of severity stop), 2 (unusable job",
        "or usage) and 3 (our bug).",
        "",
        "```text",
        runner.invoke(root, ["--help"], **width).output.rstrip(),
        "```",
        "",
    ]
    context = click.Context(root)
    for name, _ in COMMANDS:
        command = root.get_command(context, name)
        if command is None:
            continue
        text = runner.invoke(root, [name, "--help"], **width).output.rstrip()
        lines += [
            f"## soffit {name}",
            "",
            "```text",
            text.replace("Usage: root", "Usage: soffit"),
            "```",
            "",
        ]
    return "\n".join(lines).replace("Usage: root", "Usage: soffit").rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
