"""The page for phones: one address, a fresh link, a code to scan, and nothing for anybody else."""

import os
import re
import subprocess
import sys
from pathlib import Path

import httpx

from soffit_web_page import designed_job

COMMAND = [sys.executable, "-c", "from soffit.cli.main import main; main()", "serve"]


def test_the_link_lets_in_and_nothing_else_does(tmp_path: Path) -> None:
    designed_job(tmp_path / "hall")
    process = subprocess.Popen(
        [*COMMAND, str(tmp_path), "--lan", "--address", "127.0.0.1", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        text=True,
    )
    try:
        assert process.stdout is not None
        told = []
        while "Ctrl+C" not in (line := process.stdout.readline()):
            assert line, "".join(told)
            told.append(line)
        text = "".join(told)
        found = re.search(r"(http://127\.0\.0\.1:\d+)/enter\?token=(\S+)", text)
        assert found
        assert "unencrypted" in text
        assert sum("█" in line or "▀" in line for line in told) > 10  # the code, in half blocks
        link, token = found.groups()
        with httpx.Client(base_url=link, trust_env=False, timeout=60.0) as stranger:
            assert stranger.get("/").status_code == 401
            assert stranger.get("/enter?token=guess").status_code == 403
            assert (
                stranger.get("/api/jobs", headers={"cookie": "soffit_pass=guess"}).status_code
                == 401
            )
        with httpx.Client(
            base_url=link, trust_env=False, timeout=60.0, follow_redirects=True
        ) as phone:
            assert "Jobs" in phone.get(f"/enter?token={token}").text
            assert phone.get("/jobs/hall/prove").status_code == 200
            odd = phone.post("/api/jobs", json={"title": "x"}, headers={"origin": "http://evil"})
            assert odd.status_code == 403
            own = phone.post("/api/jobs", json={"title": "x"}, headers={"origin": link})
            assert own.status_code == 201
    finally:
        process.terminate()
        process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()


def test_a_port_in_use_is_said_in_words(tmp_path: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen(1)
        port = taken.getsockname()[1]
        done = subprocess.run(
            [*COMMAND, str(tmp_path), "--no-open", "--port", str(port)],
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert "--port 0" in done.stderr


def test_a_mistyped_folder_makes_nothing_and_says_what_is_near(tmp_path: Path) -> None:
    (tmp_path / "jobs").mkdir()
    done = subprocess.run(
        [*COMMAND, str(tmp_path / "jbos"), "--no-open", "--port", "0"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "did you mean jobs?" in done.stderr
    assert "--new" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["jobs"]


def test_a_new_folder_is_made_where_it_is_asked_for(tmp_path: Path) -> None:
    folder = tmp_path / "first" / "jobs"
    process = subprocess.Popen(
        [*COMMAND, str(folder), "--new", "--no-open", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        text=True,
    )
    try:
        assert process.stdout is not None
        assert "made a new folder for jobs" in process.stdout.readline()
        assert "the page is open at" in process.stdout.readline()
        assert folder.is_dir()
    finally:
        process.terminate()
        process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()


def test_small_answers_are_sent_at_once(tmp_path: Path) -> None:
    """A listener without its protocol made every drag wait for a delayed acknowledgement."""
    import socket

    from soffit.cli.serve import _listener

    with _listener("127.0.0.1", 0) as listener:
        assert listener.proto == socket.IPPROTO_TCP
        with socket.create_connection(listener.getsockname()):
            accepted, _ = listener.accept()
            with accepted:
                assert accepted.proto == socket.IPPROTO_TCP  # asyncio sets TCP_NODELAY by this
