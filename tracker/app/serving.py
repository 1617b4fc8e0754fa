"""Files for the browser: a session's clips with their parts, single frames, results."""

import mimetypes
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.errors import InputError
from tracker.app.guard import VISITOR
from tracker.app.workspace import OpenSession, Workspace, in_thread

STATIC = Path(__file__).parent / "static"
SHOWN = (".jpg", ".png", ".csv", ".json", ".mp4", ".html")
"""Endings of the results that are served."""


WIDTHS_PX = (16, 8192)
"""Least and greatest width of a frame that is asked for, px."""


def add_routes(root: Any, workspace: Workspace) -> None:
    """Add the routes to the server."""
    files = _Files(workspace)
    root.add_route("/static/{name}", files.static)
    root.add_route("/{number:int}/clip/{clip:int}", files.clip)
    root.add_route("/{number:int}/frame/{clip:int}/{index:int}", files.frame)
    root.add_route("/{number:int}/result/{name}", files.result)


@dataclass(frozen=True)
class _Files:
    """What answers requests for files."""

    workspace: Workspace

    async def static(self, request: Any) -> Any:
        """Answer with a file of the page itself."""
        return _file(_named(STATIC, request.path_params["name"]))

    async def clip(self, request: Any) -> Any:
        """Answer with a clip, or the part of it that is asked for."""
        here = request.scope[VISITOR] is None
        try:
            session = self._session(request)
            path = await in_thread(clip_path, session, request.path_params["clip"], here)
        except InputError as error:
            return refused(error, 404)
        return _file(path, mimetypes.guess_type(path.name)[0] or "video/mp4")

    async def frame(self, request: Any) -> Any:
        """Answer with a frame as a JPEG file."""
        from starlette.responses import Response

        given = request.path_params
        width = whole(request.query_params.get("width", ""))
        width = width if width is not None and WIDTHS_PX[0] <= width <= WIDTHS_PX[1] else None
        try:
            asked = (self._session(request), given["clip"], given["index"], width)
            content = await in_thread(self.workspace.frame, *asked)
        except InputError as error:
            return refused(error, 404)
        return Response(content, media_type="image/jpeg", headers={"cache-control": "no-cache"})

    async def result(self, request: Any) -> Any:
        """Answer with a file of the results."""
        try:
            session = self._session(request)
            folder = await in_thread(lambda: session.look().results)
        except InputError as error:
            return refused(error, 404)
        path = _named(folder, request.path_params["name"])
        asked = request.query_params.get("decimal")
        if asked == "comma" and path is not None and path.suffix.lower() == ".csv":
            return await in_thread(_with_commas, path)
        return _file(path if path is not None and path.suffix.lower() in SHOWN else None)

    def _session(self, request: Any) -> OpenSession:
        """Return the session of a request, if its link is for it."""
        number, visitor = request.path_params["number"], request.scope[VISITOR]
        if visitor not in (None, number):
            raise InputError("this link is for another session")
        return self.workspace.session(number)


def refused(error: InputError, status: int) -> Any:
    """Return a fault as an answer."""
    from starlette.responses import PlainTextResponse

    return PlainTextResponse("\n".join(error.sentences()), status)


def whole(text: str) -> int | None:
    """Return a whole number that a request states, None where it is none."""
    return int(text) if re.fullmatch(r"[0-9]{1,15}", text) else None


def _file(path: Path | None, kind: str | None = None) -> Any:
    """Return a file as an answer, or that there is none."""
    from starlette.responses import FileResponse, PlainTextResponse

    if path is None:
        return PlainTextResponse("There is no such file.", 404)
    headers = {"cache-control": "no-cache"}
    if path.suffix.lower() == ".html":
        # A report is a page of its own: it may run no script with this page's rights.
        policy = "sandbox; default-src 'none'; img-src data:; style-src 'unsafe-inline'"
        headers["content-security-policy"] = policy
    return FileResponse(path, media_type=kind, headers=headers)


def _with_commas(path: Path) -> Any:
    """Return a table as an answer for a spreadsheet with a comma as the decimal mark."""
    from starlette.responses import Response

    from tracker.results.commas import with_decimal_commas

    headers = {"cache-control": "no-cache"}
    return Response(with_decimal_commas(path.read_bytes()), media_type="text/csv", headers=headers)


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
