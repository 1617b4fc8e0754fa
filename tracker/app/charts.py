"""Charts that `tracker.report` draws, put into a page with its own colours."""

from markupsafe import Markup
from nicegui import ui

from tracker.app import parts
from tracker.app.view import View


def use_charts(view: View) -> None:
    """Have the page load the look of charts; once, when it is built."""
    ui.add_head_html(f'<link rel="stylesheet" href="{view.prefix}/static/charts.css">')


def chart(drawing: Markup, caption: str) -> ui.html:
    """Put a chart with a sentence on how to read it; on a narrow screen it scrolls by itself.

    The drawing is markup of `tracker.report.document.svg`, in which every text is escaped.
    """
    made = ui.html(str(drawing), sanitize=False)
    made.classes("drawn")
    made.props["tabindex"] = "0"
    made.props["role"] = "group"
    made.props["aria-label"] = caption
    parts.sentence(caption, "hint")
    return made
