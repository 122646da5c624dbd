"""A power cut in the middle of edits: what was acknowledged is on the disk, no file is broken."""

import contextlib
import os
import threading
from pathlib import Path

import httpx
import pytest

from soffit.job.api import open_job
from soffit_page import Server, readings_of
from soffit_web_page import designed_job

CUTS = int(os.environ.get("SOFFIT_POWER_CUTS", "3"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return designed_job(tmp_path_factory.mktemp("made") / "hall")


def _write(server: Server, round_number: int, kept: list[str], taps: list[tuple[int, str]]) -> None:
    """Write readings and taps as fast as answers come, until the server is gone."""
    job = server.get("/api/jobs/hall")
    unit = server.get("/api/jobs/hall/rooms/room1/plan")["units"][0]
    line, revision = job["lines"][0]["label"], job["revision"]
    with contextlib.suppress(httpx.TransportError):
        for number in range(1000):
            key = f"cut{round_number:03d}reading{number:04d}"
            at = "2026-03-01T10:00:00+00:00"
            entry = {"key": key, "text": f"{line} whole {100 + number}", "taken_at": at}
            answer = server.send(
                "POST", "/api/jobs/hall/readings", {"entries": [entry], "is_sure": True}
            )
            if answer.status_code == 200 and key in answer.json()["kept"]:
                kept.append(key)
            tap = unit["taps"][number % len(unit["taps"])]
            edit = {"kind": "tap", "target": unit["key"], "value": tap}
            answer = server.send(
                "POST", "/api/jobs/hall/edits", {"revision": revision, "edits": [edit]}
            )
            if answer.status_code == 200:
                revision = answer.json()["revision"]
                taps.append((revision, tap))


def test_nothing_acknowledged_is_lost_when_the_server_is_killed(made: Path, tmp_path: Path) -> None:
    folder = designed_job(tmp_path / "hall", keep=made)
    kept: list[str] = []
    taps: list[tuple[int, str]] = []
    for number in range(CUTS):
        server = Server(tmp_path)
        server.get("/api/jobs/hall/rooms/room1/plan")  # what is slow the first time is done
        timer = threading.Timer(0.35 + 0.13 * (number % 7), server.process.kill)
        timer.start()
        with contextlib.suppress(httpx.TransportError):
            _write(server, number, kept, taps)
        timer.join()
        server.end()
        job = open_job(folder)  # reads every file and repairs what the cut has left
        keys = [entry["key"] for entry in readings_of(folder)]
        assert set(kept) <= set(keys)
        assert len(keys) == len(set(keys))
        if taps:
            revision, tap = taps[-1]
            assert job.design.revision in {revision, revision + 1}  # one may wait for its answer
            if job.design.revision == revision:
                found = job.design.speakers[0].tap.power_w
                assert f"{found:g} W" == tap
        assert not list(folder.glob(".soffit-*.tmp"))
    assert kept
    assert taps
