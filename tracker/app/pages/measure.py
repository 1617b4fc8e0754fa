"""Measure: progress, and the shots as they come."""

from tracker.app import parts
from tracker.app.view import Page, View


def build(view: View) -> None:
    """Build the page."""
    shots = view.look.shots
    if not shots:
        parts.sentence("Nothing is measured yet.", "lead")
    parts.sentence(f"{len(shots)} shots.")


PAGE = Page("measure", "Measure", build, order=30)
