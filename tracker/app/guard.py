"""Who is let in: the link's secret, the Host and the Origin of a request, and how much it sends.

The secret is the first part of every path, so that pages, pictures and the connection carry it
without a cookie, and a page of another site, which cannot know it, reaches nothing. A phone gets a
secret of its own, which opens one session's page for phones and nothing else.
"""

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BYTES = 20_000_000
"""Largest body of one request, bytes: a piece of an upload with room to spare. Common practice, no
source."""

HEADERS = (
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)

POLICY = (
    "default-src 'none'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "font-src 'self' data:; connect-src 'self' ws://{host}; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
"""What a page may load: nothing from elsewhere. The page library compiles its templates in the
browser, which needs the two `unsafe` words for scripts."""


@dataclass(frozen=True)
class Pass:
    """What a secret opens.

    Attributes
    ----------
    secret : str
    hosts : frozenset of str
        What a browser that has it may call this server: ``127.0.0.1:8123``.
    session : int or None
        For a phone, the number of the one session that it sees; None opens everything.
    """

    secret: str
    hosts: frozenset[str]
    session: int | None = None

    @property
    def prefix(self) -> str:
        """What every path begins with."""
        return f"/{self.secret}"


VISITOR = "lobmeter.session"
"""In the scope of a request that is let in: `Pass.session`."""


@dataclass(frozen=True)
class Guard:
    """A server within a server that lets in only requests with a secret.

    Attributes
    ----------
    inner : callable
        The page, as an ASGI application.
    passes : list of Pass
        What is open now; it may change while the server runs.
    """

    inner: App
    passes: list[Pass]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] not in ("http", "websocket"):
            await self.inner(scope, receive, send)
            return
        headers = {name.lower(): value for name, value in scope["headers"]}
        opened = self._opened(scope, headers.get(b"host", b"").decode("latin-1"))
        status = opened if isinstance(opened, int) else _refusal(scope, headers)
        if isinstance(opened, int) or status:
            await _refuse(scope, send, status)
            return
        inside = {
            **scope,
            "root_path": opened.prefix,
            "headers": _without_forwarding(scope),
            VISITOR: opened.session,
        }
        host = headers[b"host"].decode("latin-1")
        await self.inner(inside, _bounded(receive), _with_headers(send, host))

    def _opened(self, scope: Scope, host: str) -> Pass | int:
        """Return what a request's secret opens, or the status with which it is refused."""
        if not any(host in each.hosts for each in self.passes):
            return 421
        first = scope["path"].split("/", 2)[1] if "/" in scope["path"] else ""
        for each in list(self.passes):
            same = hmac.compare_digest(first.encode("utf-8"), each.secret.encode("ascii"))
            if same and host in each.hosts:
                return each
        return 404


def _refusal(scope: Scope, headers: MutableMapping[bytes, bytes]) -> int:
    """Return the status with which a request with a secret is refused, 0 where it is let in."""
    own = b"http://" + headers.get(b"host", b"")
    writes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
    if headers.get(b"origin", own) != own:
        return 403
    if writes and headers.get(b"sec-fetch-site", b"none") not in (b"same-origin", b"none"):
        return 403
    length = headers.get(b"content-length", b"0")
    return 0 if length.isdigit() and int(length) <= MOST_BYTES else 413


def _without_forwarding(scope: Scope) -> list[tuple[bytes, bytes]]:
    """Return the headers without those that speak of a proxy: there is none."""
    return [each for each in scope["headers"] if not each[0].lower().startswith(b"x-forwarded")]


def _bounded(receive: Receive) -> Receive:
    """Return a reader of a request's body that ends one which is longer than it says."""
    seen = 0

    async def bounded() -> MutableMapping[str, Any]:
        nonlocal seen
        message = await receive()
        if message["type"] == "http.request":
            seen += len(message.get("body", b""))
            if seen > MOST_BYTES:
                return {"type": "http.disconnect"}
        return message

    return bounded


def _with_headers(send: Send, host: str) -> Send:
    """Return a sender that adds what a browser must keep to."""
    policy = (b"content-security-policy", POLICY.format(host=host).encode("latin-1"))

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            given = list(message.get("headers", []))
            named = {name.lower() for name, _ in given}
            extra = [each for each in (*HEADERS, policy) if each[0] not in named]
            message = {**message, "headers": [*given, *extra]}
        await send(message)

    return sending


REFUSALS = {
    403: "This page belongs to another address. Use the link that lobmeter open printed.",
    404: "There is nothing here. Use the whole link that lobmeter open printed.",
    413: "That is too much at once.",
    421: "This address is not the one that lobmeter open printed.",
}


async def _refuse(scope: Scope, send: Send, status: int) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    body = REFUSALS[status].encode("utf-8")
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode("ascii")),
        (b"connection", b"close"),
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
