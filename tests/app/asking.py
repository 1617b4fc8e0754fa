"""Requests as any program may send them, without a browser's manners."""

import base64
import http.client
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit


@dataclass(frozen=True)
class Answer:
    """What a server answered."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")


def ask(
    address: str, method: str = "GET", body: bytes = b"", headers: Mapping[str, str] = {}
) -> Answer:
    """Send one request; a `Host` among the headers takes the place of the true one."""
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=20)
    try:
        path = parts.path + (f"?{parts.query}" if parts.query else "")
        connection.request(method, path, body or None, dict(headers))
        answer = connection.getresponse()
        named = {name.lower(): value for name, value in answer.getheaders()}
        return Answer(answer.status, named, answer.read())
    finally:
        connection.close()


def announced(base: str, name: str, size: int, into: str = "", modified_ms: int = 0) -> Answer:
    """Announce a clip as a page does."""
    said = {"filename": name, "into": into, "modified": str(modified_ms)}
    pairs = [f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in said.items()]
    headers = {"Upload-Length": str(size), "Upload-Metadata": ",".join(pairs)}
    return ask(f"{base}/upload", "POST", headers=headers)


def piece(address: str, at: int, content: bytes) -> Answer:
    """Send a piece of a clip as a page does."""
    return ask(address, "PATCH", content, {"Upload-Offset": str(at)})
