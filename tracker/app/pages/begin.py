"""Begin: clips into a session, and the first answer."""

from tracker.app import parts
from tracker.app.view import Page, View


def build(view: View) -> None:
    """Build the page."""
    if not view.workspace.sessions:
        parts.sentence("No session is open. Drop the clips of an evening here.", "lead")
        return
    parts.heading("Open sessions")
    for session in view.workspace.sessions:
        look = session.look()
        name = look.session.name if look.session else session.place.name
        parts.link(name, view.address("measure", session))


PAGE = Page("begin", "Begin", build, order=10, needs_session=False)
