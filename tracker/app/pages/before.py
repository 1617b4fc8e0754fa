"""Before filming: where to stand, and what it gives."""

from nicegui import ui

from tracker.app import parts
from tracker.app.before.planning import Planning
from tracker.app.view import Page, View
from tracker.app.workspace import in_thread
from tracker.workflow.planned import usual_session
from tracker.workflow.planned_field import plan_answer, planned_field


def build(view: View) -> None:
    """Build the page; what has to be computed comes once the tab is there."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/field.css">')
    session = None if view.session is None else view.look.session
    if view.session is not None and session is None:
        parts.sentence("The plan is shown as soon as session.toml can be read.", "lead")
        return
    wanted = usual_session() if session is None or session.bare else session

    async def prepare() -> parts.Handler:
        field = await in_thread(planned_field, wanted)
        return Planning(view, field, await in_thread(plan_answer, field, False)).build

    parts.fill("Computing what this place gives …", prepare)


PAGE = Page("before", "Before filming", build, order=15, needs_session=False)
