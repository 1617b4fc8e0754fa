"""Pixels to candidates: where a ball may be, and exactly where it is once it is expected."""

from tracker.detection.appearance import Expected, Sighting, measure
from tracker.detection.finder import CandidateFinder, Look
from tracker.detection.look import look_for
from tracker.detection.placing import Placing, placing
from tracker.detection.sight import sight

__all__ = [
    "CandidateFinder",
    "Expected",
    "Look",
    "Placing",
    "Sighting",
    "look_for",
    "measure",
    "placing",
    "sight",
]
