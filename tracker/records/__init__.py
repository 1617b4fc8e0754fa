"""The nouns that the stages hand on: frozen, computing nothing."""

from tracker.records.candidates import Candidates, Cutouts, RejectedCandidate, Track
from tracker.records.shot import (
    Budget,
    Consistency,
    FlightModel,
    FlightPath,
    MeasuredShot,
    Pooled,
    Quality,
    Shot,
    TrackPoint,
)

__all__ = [
    "Budget",
    "Candidates",
    "Consistency",
    "Cutouts",
    "FlightModel",
    "FlightPath",
    "MeasuredShot",
    "Pooled",
    "Quality",
    "RejectedCandidate",
    "Shot",
    "Track",
    "TrackPoint",
]
