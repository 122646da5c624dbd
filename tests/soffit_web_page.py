"""Helpers of the page's tests: a designed one-room job, and requests to the page in process."""

import asyncio
import json
import shutil
from pathlib import Path
from typing import Any

import httpx

from soffit.job.api import create_job
from soffit.web.app import make_app
from soffit.web.guard import Rules
from soffit.work.make_design import make_design

HOST = "127.0.0.1:8347"


def designed_job(folder: Path, *, keep: Path | None = None) -> Path:
    """Make a one-room job with a design; copy it from ``keep`` where it was made before."""
    if keep is not None and (keep / "design.json").is_file():
        shutil.copytree(keep, folder)
        return folder
    target = keep or folder
    create_job(target)
    make_design(target)
    if keep is not None:
        shutil.copytree(keep, folder)
    return folder


class Page:
    """The page in process: what a browser would send, and what it gets."""

    def __init__(self, folder: Path, rules: Rules | None = None) -> None:
        self.app = make_app(folder, rules or Rules.loopback(8347))
        self.cookies: dict[str, str] = {}

    def send(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        headers: dict[str, Any] | None = None,
        content: bytes | None = None,
        host: str = HOST,
    ) -> httpx.Response:
        """Send one request."""

        async def talk() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url=f"http://{host}", cookies=self.cookies
            ) as client:
                data = content if content is not None else None
                told = {"host": host, **(headers or {})}
                if body is not None:
                    data = json.dumps(body).encode()
                    told["content-type"] = "application/json"
                return await client.request(method, path, content=data, headers=told)

        return asyncio.run(talk())

    def get(self, path: str) -> Any:
        """Return the body of an address that must answer well."""
        answer = self.send("GET", path)
        assert answer.status_code == 200, answer.text
        kind = answer.headers["content-type"]
        return answer.json() if "json" in kind else answer.text

    def post(self, path: str, body: Any = None, *, status: int = 200) -> Any:
        """Return the body of a change that must end with a status."""
        answer = self.send("POST", path, body)
        assert answer.status_code == status, answer.text
        return answer.json()
