"""What every step of a measurement is handed, without a file behind it."""

from dataclasses import fields

from tests.tracker.fitting_case import FRAME_S, SIZE_PX, request
from tracker.detection import SearchSettings
from tracker.fitting import Circumstances
from tracker.measurement.context import ClipContext
from tracker.video import ClipFacts

LOOK = SearchSettings(4.0, 10.0, 1, (0, 0, *SIZE_PX))


def facts_of(**values: object) -> ClipFacts:
    """Facts of a clip of which nothing else is asked."""
    nothing = {each.name: None for each in fields(ClipFacts)}
    usual = {"size_px": SIZE_PX, "rotation_deg": 0, "pace": 1.0, "file_fps": 30.0}
    return ClipFacts(**{**nothing, **usual, **values})


def clip_context(known: Circumstances) -> ClipContext:
    """The context of an upright clip at 120 frames a second that plays at life speed."""
    facts = ClipFacts.__new__(ClipFacts)
    values = {"size_px": SIZE_PX, "rotation_deg": 0, "pace": 1.0, "file_fps": 1.0 / FRAME_S}
    for name, value in values.items():
        object.__setattr__(facts, name, value)
    return ClipContext(facts, request(), known, LOOK)
