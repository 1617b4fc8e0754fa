"""What measurement and pooling report: rows, points, paths and their uncertainties."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.records.codes import FIGURE_OF_COLUMN
from tracker.records.reasons import Reason, sentence

Array = NDArray[np.float64]


class Quality(StrEnum):
    """How far a row may be believed."""

    GOOD = "good"
    CHECK = "check"
    REJECTED = "rejected"


@dataclass(frozen=True)
class TrackPoint:
    """One row of `results/tracks.csv`; the field names are the columns of docs/formats.md."""

    clip: str
    shot: int
    frame: int
    time_s: float
    column_px: float
    row_px: float
    used: bool
    residual_column_px: float
    residual_row_px: float
    along_m: float
    across_m: float
    up_m: float


@dataclass(frozen=True)
class Shot:
    """One row of `results/shots.csv`; the field names are the columns of docs/formats.md.

    ``None`` means that the quantity could not be measured.
    """

    clip: str
    setup: str
    shot: int
    release_s: float
    exit_speed_mps: float | None
    exit_speed_u_mps: float | None
    launch_angle_deg: float | None
    launch_angle_u_deg: float | None
    azimuth_deg: float | None
    azimuth_u_deg: float | None
    carry_m: float | None
    carry_u_m: float | None
    landing_along_m: float | None
    landing_along_u_m: float | None
    landing_across_m: float | None
    landing_across_u_m: float | None
    apex_m: float | None
    apex_u_m: float | None
    flight_time_s: float | None
    flight_time_u_s: float | None
    landing_speed_mps: float | None
    landing_angle_deg: float | None
    frames_seen: int
    landing_seen: bool
    quality: Quality
    reasons: tuple[Reason, ...] = ()

    @classmethod
    def of_columns(cls, columns: Mapping[str, Any]) -> "Shot":
        """Return a row from all of its columns.

        A tenth of the time of the constructor, which counts where a logbook has 100,000 shots.
        """
        made = object.__new__(cls)
        made.__dict__.update(columns)
        return made

    def having(self, **columns: Any) -> "Shot":
        """Return the row with some of its columns changed."""
        return Shot.of_columns(vars(self) | columns)

    @property
    def reason(self) -> str:
        """The reasons as one sentence, as ``shots.csv`` has it; empty without any."""
        return sentence(self.reasons)

    def counts_for(self, column: str) -> bool:
        """Return whether a measured column may be compared: no reason of the row spoils it.

        A row of quality `rejected` counts for nothing, nor does one to be checked whose reasons
        are not known.
        """
        return counts_for(self.quality, self.reasons, column)


def counts_for(quality: Quality, reasons: Sequence[Reason], column: str) -> bool:
    """Return whether a column of a row of this quality may be compared; see `Shot.counts_for`."""
    if quality is Quality.GOOD:
        return True
    if quality is Quality.REJECTED or not reasons:
        return False
    return not any(reason.spoils(FIGURE_OF_COLUMN[column]) for reason in reasons)


SHOT_COLUMNS = tuple("reason" if each.name == "reasons" else each.name for each in fields(Shot))
"""The columns of ``shots.csv``."""


@dataclass(frozen=True)
class FlightPath:
    """The fitted flight of a shot, sampled for pictures.

    Attributes
    ----------
    times_s : ndarray, shape (N,)
        True time from the clip's first frame.
    points_m : ndarray, shape (N, 3)
        Ground coordinates of the ball's centre, release first, landing last.
    pixels : ndarray, shape (N, 2)
        The same in the frame.
    release_px, apex_px, landing_px : ndarray, shape (2,)
    """

    times_s: Array
    points_m: Array
    pixels: Array
    release_px: Array
    apex_px: Array
    landing_px: Array


@dataclass(frozen=True)
class Budget:
    """Where the uncertainty of a shot's figures comes from.

    Attributes
    ----------
    parts : mapping
        By figure and source the standard uncertainty, in the figure's unit; the squares of a
        figure's parts add up to that of its whole uncertainty.
    shared_u : mapping
        By figure the part that is the same for every shot of the session.
    """

    parts: Mapping[str, Mapping[str, float]]
    shared_u: Mapping[str, float]


@dataclass(frozen=True)
class Consistency:
    """How the positions of a shot agree with their own uncertainties, one after the other.

    Attributes
    ----------
    mean : float
        Mean normalised innovation squared of the Kalman filter over its degrees of freedom: one
        where positions scatter as they say (Y. Bar-Shalom, X. R. Li and T. Kirubarajan,
        Estimation with Applications to Tracking and Navigation, 2001, ch. 5.4).
    low, high : float
        Where 95 % of such means lie when the uncertainties are right.
    frames : int
        Positions that were counted.
    """

    mean: float
    low: float
    high: float
    frames: int


@dataclass(frozen=True)
class FlightModel:
    """What a flight's drag and lift are, and what decided them.

    Attributes
    ----------
    drag_coefficient, drag_coefficient_u : float
        At 20 m/s.
    drag_from : str
        ``flight``, ``table`` (what was known of the ball beforehand) or ``both``.
    lift_up, lift_up_u, lift_side, lift_side_u : float
        Lift coefficients, up and to the left.
    lift : str
        ``supported``, ``none`` or ``undecided`` by the flight.
    log_bayes_factor : float
        Natural logarithm of the Bayes factor of lift against none.
    """

    drag_coefficient: float
    drag_coefficient_u: float
    drag_from: str
    lift_up: float
    lift_up_u: float
    lift_side: float
    lift_side_u: float
    lift: str
    log_bayes_factor: float


@dataclass(frozen=True)
class Pooled:
    """A coefficient as all shots of a session have it together.

    Attributes
    ----------
    value, u : float
        From the flights alone.
    expected, expected_u : float
        What was known beforehand.
    shots : int
    q, q_p : float
        Cochran's Q, and the chance of a larger one if all shots had one coefficient.
    between_sd : float
        Standard deviation between shots beyond their own uncertainties.
    """

    value: float
    u: float
    expected: float
    expected_u: float
    shots: int
    q: float
    q_p: float
    between_sd: float


@dataclass(frozen=True)
class MeasuredShot:
    """A shot with what a person needs to judge it: its points, its fitted path, its budget."""

    shot: Shot
    points: tuple[TrackPoint, ...] = field(default_factory=tuple)
    path: FlightPath | None = None
    budget: Budget | None = None
    consistency: Consistency | None = None
    model: FlightModel | None = None
