"""The nouns that the stages hand on: frozen, computing nothing."""

from tracker.records.candidates import (
    Backdrop,
    Candidates,
    Cutouts,
    Pictures,
    RejectedCandidate,
    Steadied,
    Track,
    no_cutouts,
)
from tracker.records.catalogue import CATALOGUE
from tracker.records.codes import FIGURE_OF_COLUMN, Figure, ReasonCode
from tracker.records.lazy_rows import LazyRows, Row, cells_of, not_read
from tracker.records.reasons import Reason, Rejection, sentence
from tracker.records.shot import (
    SHOT_COLUMNS,
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
    "CATALOGUE",
    "FIGURE_OF_COLUMN",
    "SHOT_COLUMNS",
    "Backdrop",
    "Budget",
    "Candidates",
    "Consistency",
    "Cutouts",
    "Figure",
    "FlightModel",
    "FlightPath",
    "LazyRows",
    "MeasuredShot",
    "Pictures",
    "Pooled",
    "Quality",
    "Reason",
    "ReasonCode",
    "RejectedCandidate",
    "Rejection",
    "Row",
    "Shot",
    "Steadied",
    "Track",
    "TrackPoint",
    "cells_of",
    "no_cutouts",
    "not_read",
    "sentence",
]
