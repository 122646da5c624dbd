"""A disk that is full while papers are written: an error that names the file, and no left-overs."""

import errno
from pathlib import Path

import pytest

from soffit.work.make_papers import write_file


def test_a_full_disk_leaves_the_old_paper_and_no_half_one(tmp_path: Path, monkeypatch):
    path = tmp_path / "job.pdf"
    write_file(path, b"old")
    real = Path.write_bytes

    def full(self: Path, data: bytes) -> int:
        real(self, data[:2])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="No space left") as error:
        write_file(path, b"new and longer")
    assert error.value.filename == str(path)
    assert [file.name for file in tmp_path.iterdir()] == ["job.pdf"]
    assert path.read_bytes() == b"old"
