"""One adjustment of lens, poses and the board's bend to all views of a board."""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.errors import InputError
from calibration.lens.bend import BEND_U, BoardShape
from calibration.lens.bend import SIZE as BEND_SIZE
from calibration.lens.board import Sighting

Array = NDArray[np.float64]

BEND_ROUNDS, SETTLED_BEND = 6, 1e-5
"""Most rounds in which lens and bend of the board are fitted in turn, and the step of the bend, a
share of the board's half length, that ends them: a micrometre."""

RAISED_MM = 0.1
"""Step of the difference quotient by a corner's height, mm."""


@dataclass(frozen=True)
class Bundle:
    """A lens fitted to views of a board.

    Attributes
    ----------
    values : ndarray, shape (8,)
        Logarithm of the focal length, px; principal point, px; distortion.
    covariance : ndarray, shape (8, 8)
    rms : float
        Root mean square residual of the corners, px.
    view_rms : ndarray, shape (V,)
        That of each view.
    sag_mm : float
        By how much the board is bent.
    """

    values: Array
    covariance: Array
    rms: float
    view_rms: Array
    sag_mm: float


@dataclass(frozen=True)
class _Solution:
    """A lens, the views' poses and the board's bend, as one round of the bundle leaves them."""

    matrix: Array
    bends: Array
    poses: list[tuple[Any, Any]]
    bend: Array


def bundle(sightings: list[Sighting], size_px: tuple[int, int], free_k3: bool) -> Bundle:
    """Fit lens, poses and the board's bend: the lens given a bend, then the bend's next step.

    Parameters
    ----------
    sightings : list of Sighting
    size_px : tuple of int
    free_k3 : bool
        Whether k3 is fitted too.

    Raises
    ------
    InputError
        Where no lens explains the corners.
    """
    shape = BoardShape.of(np.concatenate([view.corners_mm for view in sightings]))
    now = _Solution(np.eye(3), np.zeros(5), [], np.zeros(BEND_SIZE))
    for _ in range(BEND_ROUNDS):
        now = _lens_given_bend(sightings, shape, size_px, now, free_k3)
        spread = _spread(sightings, shape, now, free_k3)
        if np.all(np.abs(spread.bend_step) < SETTLED_BEND):
            break
        now = replace(now, bend=now.bend + spread.bend_step)
    values = np.concatenate([[np.log(now.matrix[0, 0])], now.matrix[:2, 2], now.bends])
    return Bundle(values, spread.covariance, spread.rms, spread.view_rms, shape.sag_mm(now.bend))


def _lens_given_bend(
    sightings: list[Sighting],
    shape: BoardShape,
    size_px: tuple[int, int],
    before: _Solution,
    free_k3: bool,
) -> _Solution:
    """Return lens and poses for a board of a bend, from those of the round before."""
    import cv2

    points = [shape.points(view.corners_mm, before.bend) for view in sightings]
    seen = [view.pixels.astype(np.float32) for view in sightings]
    flags = cv2.CALIB_FIX_ASPECT_RATIO | (0 if free_k3 else cv2.CALIB_FIX_K3)
    if before.poses:
        flags |= cv2.CALIB_USE_INTRINSIC_GUESS
    try:
        _, matrix, bends, turns, shifts, _, _, _ = cv2.calibrateCameraExtended(
            points, seen, size_px, before.matrix.copy(), before.bends.copy(), flags=flags
        )
    except cv2.error:
        raise InputError(
            "no lens explains the board's corners",
            remedy="check the board's numbers of squares, and film it tilted every way",
        ) from None
    distortion = np.asarray(bends, float).ravel()[:5]
    poses = list(zip(turns, shifts, strict=True))
    return _Solution(np.asarray(matrix, float), distortion, poses, before.bend)


class _Spread(NamedTuple):
    """Covariance of the eight lens parameters, residuals, and the next step of the bend."""

    covariance: Array
    rms: float
    view_rms: Array
    bend_step: Array


def _spread(sightings: list[Sighting], shape: BoardShape, now: _Solution, free_k3: bool) -> _Spread:
    """Return how well a lens is known, and where the bend should go.

    Each view's six pose parameters are eliminated (Schur complement). Views as clusters give a
    second covariance (the sandwich of Liang and Zeger 1986); the first is widened to it where
    views scatter more. The bend counts with its prior, so an unknown one widens the lens.
    """
    used = 8 if free_k3 else 7
    normal = np.zeros((used + BEND_SIZE, used + BEND_SIZE))
    scores, squares, total = [], [], 0
    for view, pose in zip(sightings, now.poses, strict=True):
        residual, by_lens, by_pose, by_bend = _linear(view, shape, now, pose)
        inner = np.column_stack([by_lens[:, :used], by_bend])
        free = inner - by_pose @ np.linalg.lstsq(by_pose, inner, rcond=None)[0]
        normal += free.T @ free
        scores.append(free.T @ residual)
        squares.append(residual @ residual)
        total += len(residual)
    freedom = max(total - used - 6 * len(now.poses), 1)
    variance = float(np.sum(squares)) / freedom
    prior = np.zeros(used + BEND_SIZE)
    prior[used:] = variance / BEND_U**2
    inverse = np.linalg.inv(normal + np.diag(prior))
    score = np.array(scores)
    pull = score.sum(axis=0) - prior * np.concatenate([np.zeros(used), now.bend])
    views = len(now.poses)
    plain = variance * inverse[:used, :used]
    sandwich = (inverse @ (score.T @ score) @ inverse)[:used, :used] * views / max(views - 1, 1)
    wider = max(1.0, float(np.trace(np.linalg.solve(plain, sandwich))) / used)
    covariance = np.zeros((8, 8))
    covariance[:used, :used] = wider * plain
    counts = np.array([len(view.pixels) for view in sightings])
    rms = float(np.sqrt(np.sum(squares) / counts.sum()))
    step = (inverse @ pull)[used:]
    return _Spread(covariance, rms, np.sqrt(np.array(squares) / counts), step)


def _linear(
    view: Sighting, shape: BoardShape, now: _Solution, pose: tuple[Any, Any]
) -> tuple[Array, Array, Array, Array]:
    """Return a view's residuals, and their slopes by lens, pose and bend."""
    import cv2

    (turn, shift), (matrix, bends) = pose, (now.matrix, now.bends)
    points = shape.points(view.corners_mm, now.bend).astype(float)
    projected, jacobian = cv2.projectPoints(points, turn, shift, matrix, bends)
    residual = (view.pixels - projected.reshape(-1, 2)).ravel()
    by_lens = np.column_stack(
        [matrix[0, 0] * (jacobian[:, 6] + jacobian[:, 7]), jacobian[:, 8:10], jacobian[:, 10:15]]
    )
    raised = points + np.array([0.0, 0.0, RAISED_MM])
    higher, _ = cv2.projectPoints(raised, turn, shift, matrix, bends)
    by_height = (higher - projected).ravel() / RAISED_MM
    heights = np.repeat(shape.heights_by_bend(view.corners_mm), 2, axis=0)
    by_pose = np.asarray(jacobian[:, :6], float)
    return residual, np.asarray(by_lens, float), by_pose, by_height[:, None] * heights
