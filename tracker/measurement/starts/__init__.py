"""Where a shot may begin; each kind of start is one file."""

from tracker.measurement.starts.anywhere import AnywhereStart, Field, field_of
from tracker.measurement.starts.presumed_camera import PresumedCameraStart
from tracker.measurement.starts.protocol import Findings, Start
from tracker.measurement.starts.release import ReleaseStart

__all__ = [
    "AnywhereStart",
    "Field",
    "Findings",
    "PresumedCameraStart",
    "ReleaseStart",
    "Start",
    "field_of",
]
