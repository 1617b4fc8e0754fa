"""A clip with what was measured drawn into it, frame by frame."""

from tracker.report.overlay.flight import Event, OverlayFlight, flight_of
from tracker.report.overlay.painter import OverlayPainter

__all__ = ["Event", "OverlayFlight", "OverlayPainter", "flight_of"]
