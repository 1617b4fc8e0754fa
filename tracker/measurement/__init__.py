"""One clip to measured shots."""

from tracker.measurement.clip import ClipResult, measure
from tracker.measurement.context import ClipRequest
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.passes import Observers

__all__ = ["ClipRequest", "ClipResult", "FittedShot", "Observers", "measure"]
