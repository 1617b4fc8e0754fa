"""The whole job where shots may start anywhere in front of a calibrated camera."""

from tracker.workflow.anywhere.clip import measure_anywhere
from tracker.workflow.anywhere.start import Field, field_of

__all__ = ["Field", "field_of", "measure_anywhere"]
