"""What a person states of a flight's ends, as observations of its fit."""

import numpy as np
from numpy.typing import NDArray

from calibration.camera import by_turn
from tracker.fitting.circumstances import Circumstances
from tracker.fitting.ends import GivenEnds, GivenPlace
from tracker.fitting.figures import figures_of
from tracker.fitting.parameters import (
    CAMERA_AT,
    PARAMETERS,
    POSITION_AT,
    RELEASE_AT,
)

Array = NDArray[np.float64]
Rows = tuple[Array, Array]
"""Whitened residuals, shape (M,), and the slopes of what is computed, shape (M, P)."""


def given_rows(circumstances: Circumstances, at: Array, given: GivenEnds) -> Rows:
    """Return the residuals of what is given about a flight's ends.

    Parameters
    ----------
    circumstances : Circumstances
    at : ndarray, shape (P,)
        In the order of `tracker.fitting.parameters.PARAMETERS`.
    given : GivenEnds

    Returns
    -------
    residuals : ndarray, shape (M,)
        Given less computed, in standard uncertainties; NaN for a landing that never comes.
    slopes : ndarray, shape (M, P)
    """
    rows: list[Rows] = []
    if given.landing_m is not None or given.landing_px is not None:
        place, by_parameters = _landing(circumstances, at)
        if given.landing_m is not None:
            rows.append(_white(given.landing_m, place[:2], by_parameters[:2]))
        if given.landing_px is not None:
            rows.append(_white(given.landing_px, *_seen(circumstances, at, place, by_parameters)))
    if given.release_px is not None:
        by_position = np.zeros((3, len(PARAMETERS)))
        by_position[:, POSITION_AT] = np.eye(3)
        seen = _seen(circumstances, at, at[POSITION_AT], by_position)
        rows.append(_white(given.release_px, *seen))
    if given.release_s is not None:
        slope = np.zeros((1, len(PARAMETERS)))
        slope[0, RELEASE_AT] = 1.0
        off = np.array([given.release_s.at_s - at[RELEASE_AT]])
        rows.append((off / given.release_s.u_s, slope / given.release_s.u_s))
    nothing: Rows = (np.zeros(0), np.zeros((0, len(PARAMETERS))))
    residuals, slopes = zip(nothing, *rows, strict=True)
    return np.concatenate(residuals), np.concatenate(slopes)


def disagreement(
    circumstances: Circumstances, at: Array, covariance: Array, given: GivenEnds
) -> float:
    """Return how far what is given lies from a fit without it, in standard uncertainties.

    The root of the mean squared innovation: each residual against its own uncertainty and that of
    the fit together (Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and
    Navigation, 2001, ch. 5.4).

    Parameters
    ----------
    circumstances : Circumstances
    at : ndarray, shape (P,)
        Parameters of the fit without it.
    covariance : ndarray, shape (P, P)
        Of that fit.
    given : GivenEnds
    """
    residuals, slopes = given_rows(circumstances, at, given)
    if not len(residuals):
        return 0.0
    spread = np.eye(len(residuals)) + slopes @ covariance @ slopes.T
    return float(np.sqrt(residuals @ np.linalg.solve(spread, residuals) / len(residuals)))


def _white(given: GivenPlace, place: Array, by_parameters: Array) -> Rows:
    return (np.array(given.at) - place) / given.u, by_parameters / given.u


def _landing(circumstances: Circumstances, at: Array) -> tuple[Array, Array]:
    """Return the ball's centre at its landing, shape (3,), and its slope, shape (3, P)."""
    figures = figures_of(circumstances, at)
    names = ("landing_along_m", "landing_across_m")
    ground = circumstances.ground
    flat = np.array([figures.value(name) for name in names])
    by_flat = np.vstack([figures.slope(name) for name in names])
    up_m = circumstances.ball_radius_m + ground.height_m(flat)
    return np.append(flat, up_m), np.vstack([by_flat, ground.height_m(by_flat.T)])


def _seen(
    circumstances: Circumstances, at: Array, place: Array, by_parameters: Array
) -> tuple[Array, Array]:
    """Return the pixel of a place, shape (2,), and its slope, shape (2, P)."""
    camera = circumstances.camera.perturbed(at[CAMERA_AT:])
    pixels, by_point, by_camera = camera.project_with_jacobians(place[None, :])
    slope = by_point[0] @ by_parameters
    turned = by_camera[0].copy()
    turned[:, :3] = turned[:, :3] @ by_turn(at[CAMERA_AT : CAMERA_AT + 3])
    slope[:, CAMERA_AT:] += turned
    return pixels[0], slope
