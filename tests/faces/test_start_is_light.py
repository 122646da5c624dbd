"""``soffit --help`` and ``soffit line`` start without the libraries that take long to import."""

import subprocess
import sys

import pytest

HEAVY = {
    "pydantic", "rich", "scipy", "shapely", "fastapi", "typst", "highspy", "tomlkit", "ezdxf",
    "pandas", "PIL", "xlsxwriter", "jinja2",
}  # fmt: skip


@pytest.mark.parametrize(
    ("words", "light"),
    [
        (["--help"], {"numpy", "soffit.model", "soffit.job"}),
        (["--version"], {"numpy"}),
        (["line", "--help"], {"numpy"}),
        (["no-such-command"], {"numpy"}),
        (["line", "--speakers", "3", "--tap", "5 W", "--feed", "3 m", "--cable", "18 AWG"], set()),
    ],
)
def test_nothing_heavy_is_imported(words: list[str], light: set[str]):
    code = (
        "import sys\n"
        "from soffit.cli.main import run\n"
        "run(sys.argv[1:])\n"
        "print(*sorted(sys.modules), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert (HEAVY | light) & set(done.stderr.split()) == set()
