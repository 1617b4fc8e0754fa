"""The server: one process, one secret in the link, the loopback alone unless a phone is let in."""

import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from tracker.app.doors import Doors
from tracker.app.guard import VISITOR, Guard
from tracker.app.registry import pages
from tracker.app.serving import add_routes
from tracker.app.upload import add_upload_routes
from tracker.app.workspace import OpenSession, Workspace

PATIENCE_S = 300.0
"""How long a page may take to be built, s: a busy machine reads a long clip for a while. Common
practice, no source."""
ABSENT_S = 30.0
"""Time for which a tab that does not answer keeps its place, s; what comes back later is loaded
anew, with what was being typed or sent lost. A busy machine takes several seconds. Common practice,
no source."""
STARTED_S = 0.02
"""How often it is looked whether the server has started, s. Common practice, no source."""


def serve(
    workspace: Workspace, doors: Doors, announce: Callable[[str], None], browser: bool = True
) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    workspace : Workspace
    doors : Doors
    announce : callable
        Called with the link, once the server answers.
    browser : bool
        Whether a browser is opened.
    """
    import uvicorn

    config = uvicorn.Config(
        Guard(application(workspace, doors), doors.passes),
        log_level="warning",
        access_log=False,
        server_header=False,
        lifespan="on",
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    first = f"{workspace.sessions[0].number}/measure" if workspace.sessions else "begin"

    def ready() -> None:
        announce(f"{doors.link}/{first}")
        if browser:
            webbrowser.open(f"{doors.link}/{first}")

    threading.Thread(target=_when_started, args=(server, ready), daemon=True).start()
    # Ctrl+C is how a person ends it.
    with suppress(KeyboardInterrupt):
        server.run(sockets=doors.sockets)


def application(workspace: Workspace, doors: Doors) -> Any:
    """Return the page as an ASGI application, to be put behind a `Guard`."""
    from fastapi import FastAPI
    from nicegui import ui

    root = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    add_routes(root, workspace)
    add_upload_routes(root, workspace)
    _add_pages(workspace, doors)
    ui.run_with(
        root,
        title="Lobmeter",
        dark=None,
        language="en-GB",
        tailwind=False,
        show_welcome_message=False,
        reconnect_timeout=ABSENT_S,
    )
    return root


def _add_pages(workspace: Workspace, doors: Doors) -> None:
    """Give every page its address, with a session and, where it needs none, without."""
    from fastapi import HTTPException, Request
    from nicegui import ui

    from tracker.app.shell import show
    from tracker.app.view import Page, View

    paths = {page.path: page for page in pages()}

    async def shown(request: Request, page: Page, session: OpenSession | None) -> None:
        visitor = request.scope[VISITOR]
        own = session is not None and session.number == visitor
        if visitor is not None and not (page.phone and own):
            raise HTTPException(404)
        await show(page, View(workspace, doors, session, request.scope["root_path"], paths))

    for page in paths.values():

        @ui.page(f"/{{number}}/{page.path}", response_timeout=PATIENCE_S)
        async def with_session(number: int, request: Request, page: Any = page) -> None:
            if not 1 <= number <= len(workspace.sessions):
                raise HTTPException(404)
            await shown(request, page, workspace.session(number))

        if not page.needs_session:

            @ui.page(f"/{page.path}", response_timeout=PATIENCE_S)
            async def without(request: Request, page: Any = page) -> None:
                await shown(request, page, None)


def _when_started(server: Any, ready: Callable[[], None]) -> None:
    """Call a function once the server answers."""
    import time

    while not server.started and not server.should_exit:
        time.sleep(STARTED_S)
    if server.started:
        ready()
