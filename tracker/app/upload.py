"""Clips come in by pieces, as the tus protocol 1.0.0 has it (https://tus.io/protocols/resumable-upload).

Its core and its creation extension: POST announces a clip, HEAD says how far it came, PATCH adds a
piece. A clip that was announced before, by its name, size and time, goes on where it stopped.
"""

import base64
import binascii
from typing import Any

from calibration.errors import InputError
from tracker.app.guard import VISITOR
from tracker.app.workspace import Workspace, in_thread
from tracker.workflow.incoming import announce, announced_from, append, find

VERSION = "1.0.0"
MOST_PIECE_BYTES = 16 * 2**20
"""Largest piece, bytes; pages send 4 MiB. Common practice, no source."""


def add_upload_routes(root: Any, workspace: Workspace) -> None:
    """Add the routes to the server."""
    folder = workspace.incoming
    from starlette.responses import PlainTextResponse, Response

    def answer(status: int, **headers: object) -> Response:
        named = {name.replace("_", "-"): str(value) for name, value in headers.items()}
        return Response(status_code=status, headers={"Tus-Resumable": VERSION, **named})

    def refused(error: InputError, status: int) -> Response:
        return PlainTextResponse("\n".join(error.sentences()), status)

    async def create(request: Any) -> Response:
        length = request.headers.get("upload-length", "")
        said = metadata(request.headers.get("upload-metadata", ""))
        announced = announced_from(said, int(length) if length.isdigit() else 0)
        visitor = request.scope[VISITOR]
        if visitor is not None and announced.into != str(visitor):
            return PlainTextResponse("This link is for another session.", 403)
        try:
            await in_thread(workspace.refuse_known, announced)
            incoming = await in_thread(announce, folder, announced)
        except InputError as error:
            return refused(error, 413)
        place = f"{request.scope['root_path']}/upload/{announced.key}"
        return answer(201, Location=place, Upload_Offset=incoming.received)

    async def state(request: Any) -> Response:
        try:
            incoming = await in_thread(find, folder, request.path_params["key"])
        except InputError as error:
            return refused(error, 404)
        return answer(
            200,
            Upload_Offset=incoming.received,
            Upload_Length=incoming.announced.size,
            Cache_Control="no-store",
        )

    async def piece(request: Any) -> Response:
        at = request.headers.get("upload-offset", "")
        try:
            incoming = await in_thread(find, folder, request.path_params["key"])
        except InputError as error:
            return refused(error, 404)
        body = bytearray()
        async for some in request.stream():
            body += some
            if len(body) > MOST_PIECE_BYTES:
                return PlainTextResponse("The piece is too large.", 413)
        try:
            received = await in_thread(append, incoming, int(at) if at.isdigit() else -1, body)
        except InputError as error:
            return refused(error, 409)
        if incoming.announced.into and incoming.whole:
            try:
                await in_thread(workspace.receive, incoming)
            except InputError as error:
                return refused(error, 422)
        return answer(204, Upload_Offset=received)

    root.add_route("/upload", create, methods=["POST"])
    root.add_route("/upload/{key}", state, methods=["HEAD"])
    root.add_route("/upload/{key}", piece, methods=["PATCH"])


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
