"""Limits at the ends of their ranges: a small job is designed, checked and printed, or refused."""

from pathlib import Path

import pytest

from soffit.cli.main import run
from soffit.tables.settings import settings
from soffit_job_texts import ONE_ROOM

_ENDS = [(row.name, end, getattr(row, end)) for row in settings() for end in ("least", "most")]
_STEP = 41
"""Every so many is tried here, and those that once failed; all of them take minutes."""

_ONCE_FAILED = [item for item in _ENDS if item[0] == "hanger_spacing_m"]


@pytest.mark.parametrize(("name", "end", "value"), [*_ENDS[::_STEP], *_ONCE_FAILED])
def test_a_limit_at_the_end_of_its_range(
    name: str, end: str, value: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text(
        f"{ONE_ROOM}\n[limits]\n{name} = {float(value)!r}\n", encoding="utf-8"
    )
    for command in ("design", "check", "papers"):
        code = run([command, str(tmp_path)])
        assert code in {0, 1}, (name, end, command, capsys.readouterr().err)


def test_every_range_holds_its_default() -> None:
    wrong = [row.name for row in settings() if not row.least <= row.default <= row.most]
    assert not wrong
