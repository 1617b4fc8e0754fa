"""Pixels to candidates: where a ball may be, and exactly where it is once it is expected."""

from tracker.detection.component import shrink_of
from tracker.detection.exposure import fit_positions
from tracker.detection.finder import CandidateFinder
from tracker.detection.gain import change_per_contrast
from tracker.detection.locating import locate_ball
from tracker.detection.picture_size import PictureSizes, ball_sizes
from tracker.detection.position_bound import PositionBound, position_bound
from tracker.detection.positions import BallPositions, ExpectedBall
from tracker.detection.settings import USUAL_PERCENTILE, SearchSettings, lag_for, settings_for

__all__ = [
    "USUAL_PERCENTILE",
    "BallPositions",
    "CandidateFinder",
    "ExpectedBall",
    "PictureSizes",
    "PositionBound",
    "SearchSettings",
    "ball_sizes",
    "change_per_contrast",
    "fit_positions",
    "lag_for",
    "locate_ball",
    "position_bound",
    "settings_for",
    "shrink_of",
]
