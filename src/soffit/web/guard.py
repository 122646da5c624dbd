"""Who may talk to the page: exact Host and Origin, a token on the LAN, limits on bodies."""

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final
from urllib.parse import parse_qs

from soffit.web.faults import fault_json

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE: Final = "soffit_pass"
ENTER: Final = "/enter"
MOST_BODY: Final = 1_000_000
MOST_UPLOAD: Final = 80_000_000
_FOREVER: Final = b"public, max-age=31536000, immutable"
_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_HEADERS: Final[tuple[tuple[bytes, bytes], ...]] = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self';"
        b" img-src 'self' data: blob:; connect-src 'self'; form-action 'self'; base-uri 'none';"
        b" frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What the guard lets in.

    Parameters
    ----------
    hosts
        Exact Host headers, such as ``127.0.0.1:8347``.
    token
        Secret of the link; empty on loopback, where none is asked for.
    """

    hosts: frozenset[str]
    token: str = ""

    @classmethod
    def loopback(cls, port: int) -> "Rules":
        """Return the rules for this machine alone.

        Parameters
        ----------
        port
            Port of the page.
        """
        names = ("127.0.0.1", "localhost", "[::1]")
        return cls(hosts=frozenset(f"{name}:{port}" for name in names))

    @classmethod
    def lan(cls, address: str, port: int) -> "Rules":
        """Return the rules for one address of the local network, with a fresh token.

        Parameters
        ----------
        address
            Numeric address that the page is bound to.
        port
            Port of the page.
        """
        name = f"[{address}]" if ":" in address else address
        return cls(hosts=frozenset({f"{name}:{port}"}), token=secrets.token_urlsafe(24))


class _TooLargeError(Exception):
    """A body went over its limit while it came in."""


@dataclass(slots=True)
class _Request:
    """What the guard looks at."""

    method: str
    path: str
    headers: dict[bytes, bytes]
    query: bytes
    counts: dict[bytes, int] = field(default_factory=dict)

    def text(self, name: bytes) -> str:
        return self.headers.get(name, b"").decode("latin-1")


def _request(scope: Scope) -> _Request:
    counts: dict[bytes, int] = {}
    headers: dict[bytes, bytes] = {}
    for name, value in scope["headers"]:
        counts[name] = counts.get(name, 0) + 1
        headers[name] = value
    return _Request(
        method=scope["method"],
        path=scope["path"],
        headers=headers,
        query=scope.get("query_string", b""),
        counts=counts,
    )


def _cookie(request: _Request) -> str:
    try:
        found = SimpleCookie(request.text(b"cookie")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


class Guard:
    """Wraps the page's application.

    Parameters
    ----------
    app
        What is guarded.
    rules
        What is let in.
    """

    def __init__(self, app: App, rules: Rules) -> None:
        self.app, self.rules = app, rules

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it here."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        request = _request(scope)
        refusal = self._refusal(request)
        if refusal is not None:
            await _answer(send, *refusal)
            return
        if self.rules.token and request.path == ENTER:
            await self._enter(request, send)
            return
        await self._pass_on(scope, receive, send, request)

    def _refusal(self, request: _Request) -> tuple[int, bytes] | None:
        host = request.text(b"host")
        if host not in self.rules.hosts or request.counts.get(b"host", 0) != 1:
            return 421, fault_json(
                "this address is not the page's",
                where=f"Host: {host[:80]}",
                why=f"the page answers only as {', '.join(sorted(self.rules.hosts))}",
                do="open it by the address that soffit serve has shown",
            )
        if not self._is_own(request, host):
            return 403, fault_json(
                "another site may not use this page",
                where=f"Origin: {request.text(b'origin')[:80] or 'a foreign site'}",
                why="the request was sent by a page of another address",
                do="open the page itself",
            )
        if self.rules.token and request.path != ENTER and not self._has_pass(request):
            return 401, fault_json(
                "this page is for people with its link",
                where=request.path[:80],
                why="the browser has not shown the pass that the link gives",
                do="scan the code or open the link that soffit serve has shown",
            )
        if self._length(request) > _limit(request.path):
            return 413, _too_large(request.path)
        return None

    def _is_own(self, request: _Request, host: str) -> bool:
        origin = request.text(b"origin")
        site = request.text(b"sec-fetch-site")
        if origin:
            return origin == f"http://{host}"
        if site in {"", "same-origin", "none"}:
            return True
        return request.method in _SAFE and not request.path.startswith("/api/")

    def _has_pass(self, request: _Request) -> bool:
        return hmac.compare_digest(_cookie(request).encode(), self.rules.token.encode())

    @staticmethod
    def _length(request: _Request) -> int:
        text = request.text(b"content-length")
        return int(text) if text.isdigit() else 0

    async def _enter(self, request: _Request, send: Send) -> None:
        given = parse_qs(request.query.decode("latin-1")).get("token", [""])[0]
        if not hmac.compare_digest(given.encode(), self.rules.token.encode()):
            body = fault_json(
                "this link is not the page's, or an old one",
                where=ENTER,
                why="every start of soffit serve makes a fresh link",
                do="scan the code that is shown now",
            )
            await _answer(send, 403, body)
            return
        cookie = f"{COOKIE}={self.rules.token}; Path=/; HttpOnly; SameSite=Lax"
        headers = [
            (b"location", b"/"),
            (b"set-cookie", cookie.encode("latin-1")),
            (b"cache-control", b"no-store"),
            *_HEADERS,
        ]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send, request: _Request) -> None:
        left = _limit(request.path)
        has_begun = is_answered = False

        async def counted() -> Message:
            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if left < 0:
                raise _TooLargeError
            return message

        async def guarded(message: Message) -> None:
            nonlocal has_begun, is_answered
            if left < 0 and not has_begun:
                if not is_answered:  # whatever the application makes of it, this is the reason
                    is_answered = True
                    await _answer(send, 413, _too_large(request.path))
                return
            if message["type"] == "http.response.start":
                has_begun = True
                message["headers"] = _with_ours(message, request.path)
            await send(message)

        try:
            await self.app(scope, counted, guarded)
        except _TooLargeError:
            if not has_begun and not is_answered:
                await _answer(send, 413, _too_large(request.path))


def _with_ours(message: Message, path: str) -> list[tuple[bytes, bytes]]:
    headers = list(message.get("headers", []))
    if not any(name == b"cache-control" for name, _ in headers):
        is_kept = path.startswith("/static/") and message["status"] in {200, 304}
        headers.append((b"cache-control", _FOREVER if is_kept else b"no-store"))
    return [*headers, *_HEADERS]


def _limit(path: str) -> int:
    return MOST_UPLOAD if path.startswith("/api/") and path.endswith("/upload") else MOST_BODY


def _too_large(path: str) -> bytes:
    return fault_json(
        "this is too much at once",
        where=path[:80],
        why=f"the page takes at most {_limit(path) / 1e6:g} MB here",
        do="send a smaller file, or read it with the command line: soffit read",
    )


async def _answer(send: Send, status: int, body: bytes) -> None:
    headers = [
        (b"content-type", b"application/json; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *_HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
