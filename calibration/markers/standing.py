"""Cones and poles of any colour, found together from what is known of the camera."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.markers.joint import Candidate, Choice, Prediction, choose, doubts
from calibration.markers.marker import Marker
from calibration.markers.matching import (
    TOP_SHARE,
    Silhouette,
    lab,
    peaks,
    responses,
    sharpest,
    silhouette,
)
from calibration.markers.proposal import Proposal

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Look:
    """What the markers look like.

    Attributes
    ----------
    height_m, width_m : float
    top_share : float
        Width of the top over that of the foot: 0.2 for a cone, 1 for a pole.
    """

    height_m: float = 0.30
    width_m: float = 0.22
    top_share: float = TOP_SHARE


SIZES = (0.75, 1.0, 1.4)
"""Sizes of the shapes that are tried, as shares of the stated one."""

FINER_STEPS = (1.18, 1.09)
"""Factors by which a size is then made larger and smaller, in turn: a shape drawn too large reaches
below the foot, and between two sizes of the row above lies up to a third of the height."""

SIGMAS = 4.0
"""Standard deviations about its prediction within which a marker is searched for."""

LEAST_REACH_PX = 24.0
"""Least reach of the search beyond them, px: enough of the surroundings for their scatter."""

MOST_CANDIDATES, WIDE_CANDIDATES = 12, 30
"""Places kept for each marker, and where it may be anywhere in the frame."""

WIDE_PX, WIDE_U_PX = 60.0, 8.0
"""Uncertainty of a prediction from which the camera is first known better from places that agree
within the second: so far off the prediction is not linear in the camera."""

ROUNDS = 2
"""Such first rounds."""

LEAST_RESPONSE = 9.0
"""Response, in units of the scatter around, below which no place is a candidate."""

PLACED_WITHIN_PX = 2
"""How far from its strongest response a shape is placed by its edges, px: less than its width."""

TALLEST_PX = 24.0
"""Height of a shape above which it is first searched for in a smaller picture, px."""

PLACING_U_PX = 0.3
"""Uncertainty of a clear shape's place, px; measured on drawn fields."""

FOOT_U_M = 0.010
"""How far a shape's foot lies from the marker's own point, m: the thickness of a cone's rim."""

RIM_SHARE, RIM_U_SHARE = 0.9, 0.15
"""How far the near edge of a marker's base is from its middle, as a share of half the marker's
width, and the standard uncertainty of that: over the width of a round base the edge is off by pi/4
on average, and bases are up to 1.3 times as wide as the cone. Common practice, no source."""


def find_standing(
    picture: NDArray[np.uint8] | Picture,
    camera: Camera,
    markers: Sequence[Marker],
    look: Look = Look(),
) -> tuple[Proposal, ...]:
    """Return proposals for markers that stand on the ground and look alike.

    Places that stand out from their surroundings are gathered for each marker and chosen
    together: they must agree with one camera and share one look.

    Parameters
    ----------
    picture : ndarray, shape (H, W, 3)
        Blue, green, red, 0 to 255; the mean of several frames where the camera stands still.
    camera : Camera
        As known so far; its covariance says how far to look.
    markers : sequence of Marker
    look : Look
        Height and width of the shapes, to half again or three quarters; their colour is found.

    Returns
    -------
    tuple of Proposal
        In the order of the markers, those that were not found left out; doubtful ones say why.
    """
    colours = lab(picture)
    for _ in range(ROUNDS):
        if not _is_wide(camera, markers):
            break
        known, candidates = _gathered(colours, camera, markers, look, WIDE_CANDIDATES)
        rough = [[replace(at, u_px=WIDE_U_PX) for at in own] for own in candidates]
        choices = choose(known, rough, camera.covariance)
        if not choices:
            return ()
        camera = camera.perturbed(choices[0].mean).with_covariance(choices[0].covariance)
    best = _best_of_sizes(colours, camera, markers, look)
    if best is None:
        return ()
    choice = best.choice
    return tuple(
        _proposal(camera, marker, choice.chosen[k], best.look, best.doubts.get(k, ""))
        for k, marker in enumerate(markers)
        if k in choice.chosen
    )


@dataclass(frozen=True)
class _Sized:
    """The best choice of places for shapes of one size, and what is doubtful about them."""

    look: Look
    choice: Choice
    doubts: dict[int, str]


def _best_of_sizes(
    colours: Picture, camera: Camera, markers: Sequence[Marker], look: Look
) -> _Sized | None:
    """Return the choice for the size that explains most, None where nothing stands out."""

    def chosen(size: float) -> _Sized | None:
        sized = replace(look, height_m=size * look.height_m, width_m=size * look.width_m)
        known, candidates = _gathered(colours, camera, markers, sized, MOST_CANDIDATES)
        choices = choose(known, candidates, camera.covariance)
        if not choices:
            return None
        return _Sized(sized, choices[0], doubts(known, choices, camera.covariance))

    def best_of(sizes: Sequence[float], best: _Sized | None = None) -> _Sized | None:
        for found in map(chosen, sizes):
            if found and (best is None or found.choice.strength > best.choice.strength):
                best = found
        return best

    best = best_of(SIZES)
    for step in FINER_STEPS:
        if best is not None:
            size = best.look.height_m / look.height_m
            best = best_of((size / step, size * step), best)
    return best


def _is_wide(camera: Camera, markers: Sequence[Marker]) -> bool:
    """Return whether some marker's prediction is too uncertain to be linear in the camera."""
    found = [one for one in (_prediction(camera, marker) for marker in markers) if one is not None]
    spreads = [one.by_camera @ camera.covariance @ one.by_camera.T for one in found]
    return any(float(np.sqrt(np.diag(spread).max())) > WIDE_PX for spread in spreads)


def _gathered(
    colours: Picture, camera: Camera, markers: Sequence[Marker], look: Look, most: int
) -> tuple[list[Prediction], list[list[Candidate]]]:
    """Return the prediction and the candidates of each marker."""
    seen = [_prediction(camera, marker) for marker in markers]
    candidates = [
        [] if one is None else _candidates(colours, camera, marker, one, look)[:most]
        for marker, one in zip(markers, seen, strict=True)
    ]
    return [one or _NOWHERE for one in seen], candidates


_NOWHERE = Prediction(np.zeros(2), np.zeros((2, 14)), np.eye(2))


def _prediction(camera: Camera, marker: Marker) -> Prediction | None:
    """Return where a marker is expected, None where the camera does not see it."""
    pixel, by_point, by_camera = camera.project_with_jacobians(marker.ground_m[None, :])
    if not np.all(np.isfinite(pixel)):
        return None
    return Prediction(pixel[0], by_camera[0], marker.u_m**2 * by_point[0] @ by_point[0].T)


def _px_per_m(camera: Camera, marker: Marker) -> float:
    _, by_point, _ = camera.project_with_jacobians(marker.ground_m[None, :])
    return float(np.linalg.norm(by_point[0, :, 2]))


def _candidates(
    colours: Picture, camera: Camera, marker: Marker, seen: Prediction, look: Look
) -> list[Candidate]:
    """Return the places around a prediction that stand out as the shape does, best first."""
    scale = _px_per_m(camera, marker)
    tall, wide = look.height_m * scale, look.width_m * scale
    spread = seen.by_camera @ camera.covariance @ seen.by_camera.T + seen.taped
    reach = SIGMAS * np.sqrt(np.diag(spread)) + LEAST_REACH_PX + 1.5 * tall
    height, width = colours.shape[:2]
    low = np.clip(np.floor(seen.pixel - reach), 0, (width, height)).astype(int)
    high = np.clip(np.ceil(seen.pixel + reach), 0, (width, height)).astype(int)
    if np.any(high - low < 8):
        return []
    window = colours[low[1] : high[1], low[0] : high[0]]
    shrink = min(1.0, TALLEST_PX / max(tall, 1.0))
    shape = silhouette(tall * shrink, max(wide * shrink, 1.5), look.top_share)
    found = []
    for column, row, response, rivals, explained in _standing_out(window, shape, shrink):
        strength = float(np.linalg.norm(response))
        noise = 1.0 / (strength * float(shape.slope.min())) / shrink
        found.append(
            Candidate(
                pixel=low + np.array([column, row]),
                u_px=float(np.sqrt(PLACING_U_PX**2 / shrink**2 + noise**2)),
                response=response,
                rivals=rivals,
                explained=explained,
            )
        )
    return found


def _standing_out(
    window: Picture, shape: Silhouette, shrink: float
) -> list[tuple[float, float, Array, float, float]]:
    """Return column, row, response, that of rivals and what is explained, the strongest first."""
    import cv2

    small = window
    if shrink < 1.0:
        small = np.asarray(
            cv2.resize(window, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA), np.float32
        )
    response, squares = responses(small, shape)
    strength = np.sqrt(np.sum(response**2, axis=2))
    rivals = float(np.percentile(strength, 99.0))
    found = []
    for column, row, score in peaks(strength, WIDE_CANDIDATES, 3):
        if score < LEAST_RESPONSE:
            continue
        at = (round(row), round(column))
        column, row, explained = sharpest(squares, *at, PLACED_WITHIN_PX)
        place = (np.array([column, row]) + 0.5) / shrink - 0.5
        found.append(
            (
                float(place[0]),
                float(place[1]),
                response[at].astype(float),
                min(rivals, LEAST_RESPONSE),
                explained / shrink**2,
            )
        )
    return found


def _above_near_rim(camera: Camera, marker: Marker, look: Look) -> Array:
    """Return how far in the picture a marker's own point is from its base's edge near the camera.

    A marker is taped to the middle of its base; the lowest that shows of it is the near rim.
    """
    toward = camera.position - marker.ground_m
    toward[2] = 0.0
    away_m = max(float(np.linalg.norm(toward)), 1e-9)
    rim = marker.ground_m + min(0.5 * RIM_SHARE * look.width_m, 0.5 * away_m) * toward / away_m
    middle, near = camera.project(np.stack([marker.ground_m, rim]))
    found: Array = middle - near
    return found


def _proposal(camera: Camera, marker: Marker, at: Candidate, look: Look, doubt: str) -> Proposal:
    scale = _px_per_m(camera, marker)
    tall = look.height_m * scale
    column, row = at.pixel
    above = _above_near_rim(camera, marker, look)
    above_u = RIM_U_SHARE / RIM_SHARE * float(np.linalg.norm(above))
    return Proposal(
        name=marker.name,
        pixel=at.pixel + above,
        pixel_u=float(np.linalg.norm([at.u_px, FOOT_U_M * scale, above_u])),
        contrast=float(np.linalg.norm(at.response)),
        box_px=(
            int(column - tall / 2.0), int(row - tall), int(column + tall / 2.0 + 1), int(row + 1)
        ),
        doubt=doubt,
    )  # fmt: skip
