"""What is around every page: session, steps, notices, undo, keys."""

import logging
from inspect import isawaitable

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.view import Page, View

LOG = logging.getLogger(__name__)

CAUTION = (
    "Flying balls and spinning wheels hurt: nobody down range, wheels guarded and stopped before "
    "anybody reaches in. Follow local rules and qualified people."
)

LAST_STEP = 50
"""Greatest `Page.order` of a step from the clip to the answer; what serves beside stands apart."""


async def show(page: Page, view: View) -> None:
    """Build a page for one tab."""
    ui.page_title(f"{page.title} · {view.title if view.session else 'Lobmeter'}")
    ui.add_head_html(
        f'<link rel="stylesheet" href="{view.prefix}/static/page.css">'
        f'<script src="{view.prefix}/static/page.js" defer></script>'
        f'<script src="{view.prefix}/static/upload.js" defer></script>'
    )
    if not page.phone:
        _header(page, view)
    with parts.group("sheet", "main") as main:
        main.props["id"] = "main"
        main.props["tabindex"] = "-1"
        parts.heading(page.title, 1)
        if view.session is not None:
            _faults(view)
        with parts.group("content"):
            await _content(page, view)
        # Behind the content, and held at the lower edge: what it is about stands above it.
        with parts.group("said-here"):
            notices = parts.group("notices")
            notices.props.update({"role": "status", "aria-live": "polite"})
            parts.button("Close", notices.clear).props["aria-label"] = "Close the notice"
    view.attach(notices)
    with parts.group("foot", "footer"):
        parts.sentence(CAUTION, "caution")
        _keys(view)
    main.props["data-keys"] = " ".join(view.keys)


def _faults(view: View) -> None:
    """Put what is wrong with the session's files, as they are at any time."""
    place = parts.group()
    place.props["role"] = "alert"

    def draw() -> None:
        place.clear()
        with place:
            for words in view.look.faults:
                parts.sentence(words, "fault")

    view.on_change(draw)
    draw()


async def _content(page: Page, view: View) -> None:
    """Build what is the page's own; whatever goes wrong is a sentence."""
    try:
        built = page.build(view)
        if isawaitable(built):
            await built
    except InputError as error:
        for words in error.sentences():
            parts.sentence(words, "fault")
    except Exception as error:
        LOG.exception("the page %s failed", page.path)
        words = f"The program failed ({type(error).__name__}: {error}). Nothing was changed."
        parts.sentence(words, "fault")


def _header(page: Page, view: View) -> None:
    with parts.group("head", "header"):
        skip = parts.link("To the content", "#main")
        skip.classes("skip")
        with parts.group("title"):
            with parts.group("whose"):
                _name(page, view)
            if view.session is not None and not view.session.place.is_file():
                _undo_and_redo(view)
        with parts.group("steps", "nav") as steps:
            steps.props["aria-label"] = "Steps"
            apart = False
            for each in view.pages.values():
                if each.phone or (each.needs_session and view.session is None):
                    continue
                item = parts.link(each.title, view.address(each.path))
                if each.order > LAST_STEP and not apart:
                    item.classes("apart")
                    apart = True
                if each.path == page.path:
                    item.props["aria-current"] = "page"


def _name(page: Page, view: View) -> None:
    """Put the session's name; where several are open, a choice among them."""
    parts.text("span", "Lobmeter", "brand")
    if view.session is None:
        return
    if len(view.workspace.sessions) == 1:
        parts.text("span", view.title, "name")
        return
    names = [(str(each.number), each.title) for each in view.workspace.sessions]

    def chosen(number: str) -> None:
        view.go(page.path, view.workspace.session(int(number)))

    parts.choice("Session", names, str(view.session.number), chosen)


def _undo_and_redo(view: View) -> None:
    with parts.group("row"):
        undo = parts.button("Undo", view.undo)
        redo = parts.button("Redo", view.redo)

    def renewed() -> None:
        for made, what in ((undo, view.look.undoable.undo), (redo, view.look.undoable.redo)):
            made.props["disabled"] = not what
            made.props["title"] = what
            made.update()

    view.on_change(renewed)
    renewed()
    view.key("Control+z", "undo", view.undo)
    view.key("Control+Shift+z", "redo", view.redo)


def _keys(view: View) -> None:
    """Listen to the keys of the page, and have "?" list them."""
    with ui.element("dialog").props('id="keys" aria-label="Keys"'):
        parts.heading("Keys")
        listed = parts.group("stack")
        with parts.group("row keys-done"):
            # The script gives it its words.
            parts.button("Switch single keys off", lambda: None).props["id"] = "keys-switch"
            closes = 'document.getElementById("keys").close()'
            parts.button("Close", lambda: ui.run_javascript(closes))

    def list_keys() -> None:
        listed.clear()
        with listed:
            for key, (does, _) in view.keys.items():
                with parts.group("row"):
                    parts.text("kbd", key)
                    parts.text("span", does)
        ui.run_javascript("window.showKeys()")

    parts.button("Keys", list_keys, key="?")
    view.key("?", "list the keys", list_keys)
    ui.on("lobmeter-key", lambda event: view.pressed(str(event.args)))
