"""Helpers of the page's tests in a browser: a real server, Debian's chromium, nothing fetched."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

CHROMIUM = "/usr/bin/chromium"
DESK = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}
ARGUMENTS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


class Server:
    """``soffit serve`` in a process of its own."""

    def __init__(self, folder: Path, port: int = 0) -> None:
        self.folder = folder
        self.start(port)

    def start(self, port: int) -> None:
        """Start it and wait until it answers."""
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [
                sys.executable, "-c", "from soffit.cli.main import main; main()",
                "serve", str(self.folder), "--no-open", "--port", str(port),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env=environment,
            text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
        assert found, line
        self.link, self.port = found.group(0).rstrip("/"), int(found.group(1))
        self.client = httpx.Client(base_url=self.link, timeout=60.0, trust_env=False)
        for _ in range(400):
            try:
                self.client.get("/favicon.ico")
            except httpx.TransportError:
                time.sleep(0.02)
            else:
                return
        message = "the page does not answer"
        raise AssertionError(message)

    def send(self, method: str, path: str, body: Any = None) -> httpx.Response:
        """Send one request with the Origin that the page itself would send."""
        return self.client.request(method, path, json=body, headers={"origin": self.link})

    def get(self, path: str) -> Any:
        """Return JSON of an address that must answer well."""
        answer = self.client.get(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.end()

    def end(self) -> None:
        """Stop it and close what belongs to it."""
        if self.process.poll() is None:
            self.process.terminate()
        self.process.wait(timeout=20)
        if self.process.stdout is not None:
            self.process.stdout.close()
        self.client.close()


@contextmanager
def served(folder: Path) -> Iterator[Server]:
    """Run the page for a folder."""
    server = Server(folder)
    try:
        yield server
    finally:
        server.end()


@contextmanager
def chromium() -> Iterator[Any]:
    """Run the system's browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


class Watch:
    """What a browser page must never do: speak to others, complain, or break."""

    def __init__(self, page: Any, link: str) -> None:
        self.link, self.said, self.foreign = link, [], []
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        if message.type in {"error", "warning"}:
            self.said.append(message.text)

    def _request(self, request: Any) -> None:
        if not request.url.startswith((self.link, "data:", "blob:")):
            self.foreign.append(request.url)

    def check(self) -> None:
        """Fail if it did."""
        assert self.said == []
        assert self.foreign == []


def readings_of(folder: Path) -> list[dict[str, Any]]:
    """Return the lines of a job's readings."""
    path = folder / "readings.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def watched_page(browser: Any, server: Server, **how: Any) -> Iterator[Any]:
    """Yield a page of a new context; what it did wrong fails the test."""
    context = browser.new_context(**how)
    page = context.new_page()
    page.set_default_timeout(20_000)
    watch = Watch(page, server.link)
    yield page
    watch.check()
    context.close()


def expect(locator: Any) -> Any:
    """Wait for a locator as long as a loaded machine may take."""
    from playwright.sync_api import expect as playwright_expect

    playwright_expect.set_options(timeout=20_000)
    return playwright_expect(locator)
