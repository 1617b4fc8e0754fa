"""One clip to measured shots.

The names below are imported when they are used: a command that only checks a session needs none.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tracker.measurement.clip import ClipResult, measure
    from tracker.measurement.fitted_shot import FittedShot
    from tracker.measurement.passes import Observers
    from tracker.measurement.request import ClipRequest

__all__ = ["ClipRequest", "ClipResult", "FittedShot", "Observers", "measure"]

_HOMES = {
    "ClipRequest": "request",
    "ClipResult": "clip",
    "FittedShot": "fitted_shot",
    "Observers": "passes",
    "measure": "clip",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
