"""Files for the browser: a session's clips with their parts, single frames, results."""

import mimetypes
from pathlib import Path
from typing import Any

from calibration.errors import InputError
from tracker.app.guard import VISITOR
from tracker.app.workspace import OpenSession, Workspace, in_thread

STATIC = Path(__file__).parent / "static"
SHOWN = (".jpg", ".png", ".csv", ".json", ".mp4", ".html")
"""Endings of the results that are served."""


def add_routes(root: Any, workspace: Workspace) -> None:
    """Add the routes to the server."""
    from starlette.responses import FileResponse, PlainTextResponse, Response

    def refused(error: InputError) -> Response:
        return PlainTextResponse("\n".join(error.sentences()), 404)

    def asked_for(request: Any) -> OpenSession:
        """Return the session of a request, if its link is for it."""
        number, visitor = request.path_params["number"], request.scope[VISITOR]
        if visitor not in (None, number):
            raise InputError("this link is for another session")
        return workspace.session(number)

    async def static(request: Any) -> Response:
        path = _named(STATIC, request.path_params["name"])
        if path is None:
            return PlainTextResponse("There is no such file.", 404)
        return FileResponse(path, headers={"cache-control": "no-cache"})

    async def clip(request: Any) -> Response:
        try:
            session = asked_for(request)
            here = request.scope[VISITOR] is None
            path = await in_thread(clip_path, session, request.path_params["clip"], here)
        except InputError as error:
            return refused(error)
        return FileResponse(path, media_type=mimetypes.guess_type(path.name)[0] or "video/mp4")

    async def frame(request: Any) -> Response:
        given = request.path_params
        width = request.query_params.get("width", "")
        try:
            session = asked_for(request)
            content = await in_thread(
                workspace.frame,
                session,
                given["clip"],
                given["index"],
                int(width) if width.isdigit() and 16 <= int(width) <= 8192 else None,
            )
        except InputError as error:
            return refused(error)
        return Response(content, media_type="image/jpeg", headers={"cache-control": "no-cache"})

    async def result(request: Any) -> Response:
        try:
            session = asked_for(request)
            folder = await in_thread(lambda: session.look().results)
        except InputError as error:
            return refused(error)
        path = _named(folder, request.path_params["name"])
        if path is None or path.suffix.lower() not in SHOWN:
            return PlainTextResponse("There is no such result.", 404)
        # A report is a page of its own: it may run no script with this page's rights.
        headers = {"cache-control": "no-cache"}
        if path.suffix.lower() == ".html":
            headers["content-security-policy"] = (
                "sandbox; default-src 'none'; img-src data:; style-src 'unsafe-inline'"
            )
        return FileResponse(path, headers=headers)

    root.add_route("/static/{name}", static)
    root.add_route("/{number:int}/clip/{clip:int}", clip)
    root.add_route("/{number:int}/frame/{clip:int}/{index:int}", frame)
    root.add_route("/{number:int}/result/{name}", result)


def clip_path(session: OpenSession, clip: int, here: bool) -> Path:
    """Return the file of a session's clip, if it is a video that may be served.

    A session file may name any path, so a file is served only where it is a video, and to other
    devices only where it lies in the session's folder.

    Parameters
    ----------
    session : OpenSession
    clip : int
        Its number in the session, from 0.
    here : bool
        Whether it is for this machine.

    Raises
    ------
    InputError
        Where there is no such clip, or it is not served.
    """
    read = session.look().session
    if read is None or not 0 <= clip < len(read.clips):
        raise InputError("there is no such clip", where=str(clip))
    entry = read.clips[clip]
    session.facts(entry, read.camera.capture_fps)
    path = entry.path.resolve()
    if not here and not path.is_relative_to(read.folder.resolve()):
        raise InputError(
            "lies outside the session's folder, so other devices do not get it", where=entry.file
        )
    return path


def _named(folder: Path, name: str) -> Path | None:
    """Return the file of that very name in a folder, None where there is none."""
    if not folder.is_dir():
        return None
    return next((path for path in folder.iterdir() if path.name == name and path.is_file()), None)
