"""Clips come in by pieces, as the tus protocol 1.0.0 has it (https://tus.io/protocols/resumable-upload).

Its core and its creation extension: POST announces a clip, HEAD says how far it came, PATCH adds a
piece. A clip that was announced before, by its name, size and time, goes on where it stopped.
"""

import base64
import binascii
from dataclasses import dataclass
from typing import Any

from calibration.errors import InputError
from tracker.app.guard import VISITOR
from tracker.app.serving import refused, whole
from tracker.app.workspace import Workspace, in_thread
from tracker.workflow.incoming import Announced, Incoming, announce, announced_from, append, find

VERSION = "1.0.0"
INSUFFICIENT_STORAGE = 507
"""Status where a piece follows the last one but cannot be written (RFC 4918, section 11.5)."""
MOST_PIECE_BYTES = 16 * 2**20
"""Largest piece, bytes; pages send 4 MiB. Common practice, no source."""


def add_upload_routes(root: Any, workspace: Workspace) -> None:
    """Add the routes to the server."""
    uploads = _Uploads(workspace)
    root.add_route("/upload", uploads.create, methods=["POST"])
    root.add_route("/upload/{key}", uploads.state, methods=["HEAD"])
    root.add_route("/upload/{key}", uploads.piece, methods=["PATCH"])


@dataclass(frozen=True)
class _Uploads:
    """What answers requests about clips that come in."""

    workspace: Workspace

    async def create(self, request: Any) -> Any:
        """Take the announcement of a clip."""
        size = whole(request.headers.get("upload-length", "")) or 0
        announced = announced_from(metadata(request.headers.get("upload-metadata", "")), size)
        if not _may(request, announced):
            return _not_yours()
        try:
            await in_thread(self.workspace.refuse_known, announced)
            incoming = await in_thread(announce, self.workspace.incoming, announced)
        except InputError as error:
            return refused(error, 413)
        place = f"{request.scope['root_path']}/upload/{announced.key}"
        return _answer(201, Location=place, Upload_Offset=incoming.received)

    async def state(self, request: Any) -> Any:
        """Answer how far a clip came."""
        incoming = await self._found(request)
        if not isinstance(incoming, Incoming):
            return incoming
        return _answer(
            200,
            Upload_Offset=incoming.received,
            Upload_Length=incoming.announced.size,
            Cache_Control="no-store",
        )

    async def piece(self, request: Any) -> Any:
        """Take a piece of a clip; the last one brings the clip into its session."""
        incoming = await self._found(request)
        if not isinstance(incoming, Incoming):
            return incoming
        body = bytearray()
        async for some in request.stream():
            body += some
            if len(body) > MOST_PIECE_BYTES:
                return refused(InputError("the piece is too large"), 413)
        at = whole(request.headers.get("upload-offset", ""))
        try:
            received = await in_thread(append, incoming, -1 if at is None else at, body)
        except InputError as error:
            return refused(error, 409 if at != incoming.received else INSUFFICIENT_STORAGE)
        if incoming.announced.into and incoming.whole:
            try:
                await in_thread(self.workspace.receive, incoming)
            except InputError as error:
                return refused(error, 422)
        return _answer(204, Upload_Offset=received)

    async def _found(self, request: Any) -> Any:
        """Return the clip that a request is about, or the answer where there is none for it."""
        try:
            found = await in_thread(find, self.workspace.incoming, request.path_params["key"])
        except InputError as error:
            return refused(error, 404)
        return found if _may(request, found.announced) else _not_yours()


def _may(request: Any, announced: Announced) -> bool:
    """Return whether a request's link is for the session that a clip is for."""
    return request.scope[VISITOR] in (None, whole(announced.into))


def _not_yours() -> Any:
    return refused(InputError("this link is for another session"), 403)


def _answer(status: int, **headers: object) -> Any:
    from starlette.responses import Response

    named = {name.replace("_", "-"): str(value) for name, value in headers.items()}
    return Response(status_code=status, headers={"Tus-Resumable": VERSION, **named})


def metadata(header: str) -> dict[str, str]:
    """Return the pairs of an Upload-Metadata header: names, and values in base64."""
    found = {}
    for pair in header.split(","):
        name, _, value = pair.strip().partition(" ")
        try:
            found[name] = base64.b64decode(value, validate=True).decode("utf-8")
        except (binascii.Error, UnicodeDecodeError):
            continue
    return found
