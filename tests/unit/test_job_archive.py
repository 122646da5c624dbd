"""A job as a ZIP file; archives that would do harm are refused."""

import stat
import zipfile
from pathlib import Path

import pytest

from soffit.errors import JobError
from soffit.job import archive
from soffit.job.api import create_job, open_job, unzip_job, zip_job
from soffit_job_texts import SMALL


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_job(tmp_path / "job", SMALL)
    (tmp_path / "job" / "plans" / "under.png").write_bytes(b"picture")
    (tmp_path / "job" / "papers" / "pack.pdf").write_bytes(b"paper")
    (tmp_path / "job" / "private.txt").write_bytes(b"not part of the job")
    return tmp_path / "job"


def packed(path: Path, **members: str | bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in members.items():
            target.writestr(name, content)
    return path


def test_a_job_comes_back_as_it_was(folder: Path, tmp_path: Path):
    zip_job(folder, tmp_path / "job.zip")
    job = unzip_job(tmp_path / "job.zip", tmp_path / "copy")
    assert job == open_job(folder)
    assert (tmp_path / "copy" / "plans" / "under.png").read_bytes() == b"picture"
    assert (tmp_path / "copy" / "papers" / "pack.pdf").exists()
    assert not (tmp_path / "copy" / "private.txt").exists()
    zip_job(folder, tmp_path / "thin.zip", with_papers=False)
    unzip_job(tmp_path / "thin.zip", tmp_path / "thin")
    assert not (tmp_path / "thin" / "papers" / "pack.pdf").exists()


def test_the_same_job_packs_to_the_same_bytes(folder: Path, tmp_path: Path):
    first = zip_job(folder, tmp_path / "a.zip").read_bytes()
    assert zip_job(folder, tmp_path / "b.zip").read_bytes() == first


def test_a_packed_folder_is_unpacked_too(tmp_path: Path):
    source = packed(tmp_path / "x.zip", **{"chapel/job.toml": SMALL, "chapel/plans/a.dxf": b"x"})
    assert unzip_job(source, tmp_path / "new").survey.site.name == "Test"
    assert (tmp_path / "new" / "plans" / "a.dxf").exists()


@pytest.mark.parametrize(
    "name", ["../evil.txt", "plans/../../evil.txt", "/etc/evil", "C:\\evil", "plans\\..\\evil"]
)
def test_paths_that_lead_out_are_refused(tmp_path: Path, name: str):
    source = packed(tmp_path / "x.zip", **{"job.toml": SMALL, name: b"x"})
    with pytest.raises(JobError):
        unzip_job(source, tmp_path / "sub" / "new")
    assert not (tmp_path / "sub" / "new").exists()
    assert not list(tmp_path.rglob("evil*"))
    assert list((tmp_path / "sub").iterdir()) == []


def test_links_are_refused(tmp_path: Path):
    source = tmp_path / "x.zip"
    link = zipfile.ZipInfo("plans/link")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(source, "w") as target:
        target.writestr("job.toml", SMALL)
        target.writestr(link, "/etc/passwd")
    with pytest.raises(JobError, match="not unpacked"):
        unzip_job(source, tmp_path / "new")


def test_bombs_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(archive, "MOST_BYTES", 1_000_000)
    source = packed(tmp_path / "x.zip", **{"job.toml": SMALL, "plans/big": b"\0" * 5_000_000})
    assert source.stat().st_size < 20_000
    with pytest.raises(JobError) as caught:
        unzip_job(source, tmp_path / "new")
    assert "larger" in caught.value.problems[0].why
    monkeypatch.setattr(archive, "MOST_FILES", 3)
    many = packed(tmp_path / "y.zip", **{"job.toml": SMALL} | {f"plans/{n}": b"" for n in range(9)})
    with pytest.raises(JobError):
        unzip_job(many, tmp_path / "new")


def test_what_is_no_archive_or_no_job_is_refused(tmp_path: Path, folder: Path):
    (tmp_path / "x.zip").write_bytes(b"PK\x03\x04 no archive")
    with pytest.raises(JobError):
        unzip_job(tmp_path / "x.zip", tmp_path / "new")
    with pytest.raises(JobError):
        unzip_job(tmp_path / "absent.zip", tmp_path / "new")
    with pytest.raises(JobError):
        unzip_job(packed(tmp_path / "y.zip", readme=b"x"), tmp_path / "new")
    with pytest.raises(JobError):
        unzip_job(packed(tmp_path / "z.zip", **{"job.toml": "format = 1"}), tmp_path / "new")
    assert not (tmp_path / "new").exists()
    good = zip_job(folder, tmp_path / "good.zip")
    with pytest.raises(JobError, match="already"):
        unzip_job(good, folder)
    good.write_bytes(good.read_bytes()[:-200])
    with pytest.raises(JobError):
        unzip_job(good, tmp_path / "new")
