"""The nouns that the stages hand on: frozen, computing nothing."""

from typing import TYPE_CHECKING

from calibration.later import later
from tracker.records.catalogue import CATALOGUE
from tracker.records.codes import FIGURE_OF_COLUMN, Figure, ReasonCode
from tracker.records.lazy_rows import Cells, Coded, LazyRows, cells_of, coded
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
    counts_for,
)

if TYPE_CHECKING:
    from tracker.records.candidates import (
        Backdrop,
        Candidates,
        ColourParts,
        Cutouts,
        Pictures,
        RejectedCandidate,
        Steadied,
        Track,
        no_cutouts,
    )

__all__ = [
    "CATALOGUE",
    "FIGURE_OF_COLUMN",
    "SHOT_COLUMNS",
    "Backdrop",
    "Budget",
    "Candidates",
    "Cells",
    "Coded",
    "ColourParts",
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
    "Shot",
    "Steadied",
    "Track",
    "TrackPoint",
    "cells_of",
    "coded",
    "counts_for",
    "no_cutouts",
    "sentence",
]

__getattr__ = later(
    __name__,
    {
        "candidates": "Backdrop Candidates ColourParts Cutouts Pictures RejectedCandidate "
        "Steadied Track no_cutouts",
    },
)
