"""The whole job where shots may start anywhere in front of a calibrated camera."""

from tracker.measurement.anywhere.clip import measure_anywhere
from tracker.measurement.anywhere.start import Field, field_of

__all__ = ["Field", "field_of", "measure_anywhere"]
