"""Field: markers picked in a frame, and what they give."""

from nicegui import ui

from tracker.app import parts
from tracker.app.field.desk import Desk, fault_of
from tracker.app.field.marking import Marking
from tracker.app.view import Page, View


async def build(view: View) -> None:
    """Build the page."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/field.css">')
    session = view.look.session
    if session is None:
        parts.sentence("The field is shown as soon as session.toml can be read.", "lead")

        def readable() -> None:
            if view.look.session is not None:
                ui.navigate.reload()

        view.on_change(readable)
        return
    if session.bare:
        parts.sentence(
            "A video file alone keeps no markers. Make a session of it on the page Begin; then "
            "mark its field here.",
            "lead",
        )
        return
    if not session.clips:
        parts.sentence(
            "There is no clip yet. Film, add the clip to the session, and mark its field here.",
            "lead",
        )
        return
    desk = Desk(view)
    faults = fault_of(desk)
    if faults:
        for words in faults:
            parts.sentence(words, "fault")
        return
    await Marking(desk).build()


PAGE = Page("field", "Field", build, order=20)
