"""Field: markers picked in a frame, and what they give."""

from nicegui import ui

from tracker.app import parts
from tracker.app.field.desk import Desk
from tracker.app.field.marking import Marking
from tracker.app.view import Page, View


def build(view: View) -> None:
    """Build the page; what has to be computed comes once the tab is there."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/field.css">')
    missing = _missing(view)
    if missing:
        parts.sentence(missing, "lead")
        view.on_change(lambda: None if _missing(view) else ui.navigate.reload())
        return
    desk = Desk(view)
    marking = Marking(desk)

    async def prepare() -> parts.Handler:
        await desk.begin()
        return marking.build

    parts.fill("Reading the clip …", prepare)


def _missing(view: View) -> str:
    """Return what is missing before a field can be marked, as a sentence; empty where nothing."""
    session = view.look.session
    if session is None:
        return "The field is shown as soon as session.toml can be read."
    if session.bare:
        return (
            "A video file alone keeps no markers. Make a session of it on the page Begin; then "
            "mark its field here."
        )
    if not session.clips:
        return "There is no clip yet. Film, add the clip to the session, and mark its field here."
    return ""


PAGE = Page("field", "Field", build, order=20)
