"""The place where clips are dropped or chosen."""

from collections.abc import Callable
from typing import Any

from nicegui import ui

from tracker.app import parts

ACCEPTED = "video/*,.mp4,.mov,.m4v,.mkv,.avi,.webm,.mts"


def drop_zone(words: str, into: str, on_sent: Callable[[list[str]], Any]) -> None:
    """Put a place for clips.

    Parameters
    ----------
    words : str
        What it is for; read out as its label.
    into : str
        Number of the session that the clips are for, empty for a new one.
    on_sent : callable
        Gets the keys of the clips that have come in whole; a function or a coroutine function.
    """
    with parts.group("drop", label=words) as zone:
        zone.props["data-into"] = into
        parts.sentence(words)
        with parts.group("row"):
            _chooser("Choose clips", {"multiple": True, "accept": ACCEPTED})
            if not into:
                _chooser("Choose a folder", {"webkitdirectory": True})
        sent = parts.group("sent")
        sent.props["aria-live"] = "polite"

    def came(event: Any) -> Any:
        said = event.args if isinstance(event.args, dict) else {}
        keys = said.get("keys", [])
        if said.get("into") == into and isinstance(keys, list):
            return on_sent([str(key) for key in keys])
        return None

    ui.on("lobmeter-sent", came)


def _chooser(words: str, more: dict[str, Any]) -> None:
    """Put a button that lets files be chosen; the browser's own stands out of sight in it."""
    with ui.element("label").classes("chooser"):
        parts.text("span", words)
        chosen = ui.element("input")
        chosen.props.update({"type": "file", "aria-label": words, **more})
