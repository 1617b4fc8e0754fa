"""What there is to say and to draw of a place to film from; computed elsewhere."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.records import Budget

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Moment:
    """The ball at one moment of the expected flight, as the camera will see it.

    Attributes
    ----------
    name : str
        ``"release"``, ``"apex"`` or ``"landing"``.
    pixel : ndarray, shape (2,)
        NaN where it is not in front of the camera.
    margin_px : float
        From the ball's rim to the nearest edge of the frame; negative outside.
    worst_margin_px : float
        Least of those of all shots that are expected.
    diameter_px, step_px, streak_px : float
        Width, way from one frame to the next, way while the shutter is open.
    way : ndarray, shape (2,)
        Direction of its motion in the frame, of unit length.
    place_u_px : float
        How well a single sighting will be placed; NaN outside the frame.
    snr : float
        Contrast over its standard deviation; NaN outside the frame.
    """

    name: str
    pixel: Array
    margin_px: float
    worst_margin_px: float
    diameter_px: float
    step_px: float
    streak_px: float
    way: Array
    place_u_px: float
    snr: float


@dataclass(frozen=True)
class Forecast:
    """What can be had from one stand.

    Attributes
    ----------
    values, u : mapping
        By figure what is expected of the shot, and the standard uncertainty that its
        measurement would have.
    budget : Budget
        Where that comes from.
    moments : tuple of Moment
    frames_seen, frames_flown : int
        Frames that show the ball, and frames of the whole flight.
    margin_px : float
        Least of any place of any expected shot; negative where some are out of view.
    fastest_mps : float or None
        Exit speed up to which the whole flight stays in view; None where none does.
    shutter_s : float
        For which all this holds.
    longest_shutter_s : float
        Beyond it the streak of the fastest ball is longer than the ball is wide.
    camera : Camera
        With the covariance that its calibration will have.
    """

    values: Mapping[str, float]
    u: Mapping[str, float]
    budget: Budget
    moments: tuple[Moment, ...]
    frames_seen: int
    frames_flown: int
    margin_px: float
    fastest_mps: float | None
    shutter_s: float
    longest_shutter_s: float
    camera: Camera


@dataclass(frozen=True)
class Change:
    """One thing done differently, and what it would bring.

    Attributes
    ----------
    text : str
        What to do, as a clause.
    u : mapping
        By figure the standard uncertainty after it.
    loses_view : bool
        Whether some expected shot would leave the picture that did not before.
    """

    text: str
    u: Mapping[str, float]
    loses_view: bool = False


@dataclass(frozen=True)
class Surroundings:
    """The field around a stand, for a drawing.

    Attributes
    ----------
    fps : float
    markers : sequence of (str, ndarray of shape (3,))
        Names and places.
    flights_m : tuple of ndarray, shape (N, 3)
        The expected flight first, then the others that must stay in view.
    frames_m : ndarray, shape (F, 3)
        Where the expected ball is in each frame.
    landing_m : ndarray, shape (2,)
    landing_covariance : ndarray, shape (2, 2)
        Of the next landing, m².
    clear_m : float
        How far from the firing line nobody may stand.
    line_m : ndarray, shape (2, 2)
        From where to where, along and across, balls fly and roll.
    box_m : tuple of (float, float), or None
        Along and across limits of a search.
    """

    fps: float
    markers: tuple[tuple[str, Array], ...]
    flights_m: tuple[Array, ...]
    frames_m: Array
    landing_m: Array
    landing_covariance: Array
    clear_m: float
    line_m: Array
    box_m: tuple[tuple[float, float], tuple[float, float]] | None = None


@dataclass(frozen=True)
class Vantage:
    """Everything that is said of a place to film from.

    Attributes
    ----------
    place, expectation : str
        Sentences: where the camera stands, and what is expected of the shots.
    quantity : str
        Figure that counts.
    forecast : Forecast
    changes : tuple of Change
        The one that helps the quantity most first.
    notes : tuple of str
        What was taken for granted, as sentences.
    cautions : tuple of str
        What to beware of.
    around : Surroundings
    """

    place: str
    expectation: str
    quantity: str
    forecast: Forecast
    changes: tuple[Change, ...]
    around: Surroundings
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
