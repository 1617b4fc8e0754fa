"""The server: one process, one socket, one secret."""

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from typing import Any

from calibration.errors import InputError
from tracker.app.guard import Guard
from tracker.app.registry import pages
from tracker.app.serving import add_routes
from tracker.app.upload import add_upload_routes
from tracker.app.workspace import OpenSession, Workspace

LOOPBACK = "127.0.0.1"
SECRET_BYTES = 24
"""Bytes of the link's secret: 192 bits, beyond guessing (NIST SP 800-63B asks for 64 in a look-up
secret)."""


def serve(
    workspace: Workspace,
    announce: Callable[[str], None],
    browser: bool = True,
    port: int = 0,
) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    workspace : Workspace
    announce : callable
        Called with the link, once the server answers.
    browser : bool
        Whether a browser is opened.
    port : int
        0 takes a free one.

    Raises
    ------
    InputError
        Where the port is taken.
    """
    import uvicorn

    listening = _bound(LOOPBACK, port)
    taken = listening.getsockname()[1]
    secret = secrets.token_urlsafe(SECRET_BYTES)
    hosts = frozenset({f"{LOOPBACK}:{taken}", f"localhost:{taken}"})
    guard = Guard(application(workspace), secret, hosts)
    config = uvicorn.Config(
        guard,
        log_level="warning",
        access_log=False,
        server_header=False,
        lifespan="on",
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    first = f"{workspace.sessions[0].number}/measure" if workspace.sessions else "begin"
    link = f"http://{LOOPBACK}:{taken}{guard.prefix}/{first}"

    def ready() -> None:
        announce(link)
        if browser:
            webbrowser.open(link)

    threading.Thread(target=_when_started, args=(server, ready), daemon=True).start()
    server.run(sockets=[listening])


def application(workspace: Workspace) -> Any:
    """Return the page as an ASGI application, to be put behind a `Guard`."""
    from fastapi import FastAPI
    from nicegui import ui

    root = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    add_routes(root, workspace)
    add_upload_routes(root, workspace.home / ".incoming")
    _add_pages(workspace)
    ui.run_with(
        root,
        title="Lobmeter",
        dark=None,
        language="en-GB",
        tailwind=False,
        show_welcome_message=False,
    )
    return root


def _add_pages(workspace: Workspace) -> None:
    """Give every page its address."""
    from fastapi import Request
    from nicegui import ui

    from tracker.app.shell import show
    from tracker.app.view import Page, View

    needs = {page.path: page.needs_session for page in pages()}

    def view_of(request: Request, page: Page, session: OpenSession | None) -> View:
        return View(workspace, session, page.path, request.scope["root_path"], needs)

    for page in pages():
        if page.needs_session:

            @ui.page(f"/{{number}}/{page.path}")
            async def with_session(number: int, request: Request, page: Any = page) -> None:
                await show(page, view_of(request, page, workspace.session(number)))

        else:

            @ui.page(f"/{page.path}")
            async def without(request: Request, page: Any = page) -> None:
                await show(page, view_of(request, page, None))


def _bound(address: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.bind((address, port))
    except OSError as error:
        made.close()
        reason = (error.strerror or "unknown").lower()
        raise InputError(
            f"port {port} cannot be used ({reason})", where="--port", remedy="leave it out"
        ) from None
    made.listen()
    return made


def _when_started(server: Any, ready: Callable[[], None]) -> None:
    """Call a function once the server answers."""
    import time

    while not server.started and not server.should_exit:
        time.sleep(0.02)
    if server.started:
        ready()
