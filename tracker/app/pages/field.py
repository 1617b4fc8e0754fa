"""Field: markers picked in a frame, and what they give."""

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.field.desk import Desk
from tracker.app.field.marking import Marking
from tracker.app.view import Page, View


def build(view: View) -> None:
    """Build the page; what needs reckoning comes once the tab is there."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/field.css">')
    missing = _missing(view)
    if missing:
        parts.sentence(missing, "lead")
        view.on_change(lambda: None if _missing(view) else ui.navigate.reload())
        return
    desk = Desk(view)
    marking = Marking(desk)
    with parts.group() as place:
        parts.sentence("Reading the clip …", "quiet")

    async def fill() -> None:
        try:
            await desk.begin()
        except InputError as error:
            place.clear()
            with place:
                for words in error.sentences():
                    parts.sentence(words, "fault")
            return
        place.clear()
        with place:
            marking.build()

    ui.timer(0.0, fill, once=True)


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
