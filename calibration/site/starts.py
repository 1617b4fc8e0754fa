"""First approximations of the camera from every place where it could stand."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.camera import undistort as _undistort
from calibration.site.observations import (
    LONG_LOG_FOCAL_SD,
    USUAL_LOG_FOCAL_SD,
    Observations,
    usual_focal_px,
)

Array = NDArray[np.float64]

# The grid of places and lenses, fine enough that no solution was missed in
# tests.bench.calibration_coverage.
SECTORS = 24
"""Directions around the markers: every 15 degrees."""

DISTANCE_SHARES = (0.3, 0.55, 0.9, 1.5, 2.5)
"""Distances from the markers' middle, as shares of their extent."""

HEIGHTS_M = (0.5, 1.5, 5.0)
"""Heights above the lowest marker, m: on the ground, in the hand, on a mast or a stand."""

VIEWS_DEG = (25.0, 32.0, 40.0, 48.0, 56.0, 64.0, 72.0, 82.0, 95.0, 112.0)
"""Fields of view over the longer side, degrees, from a telephoto to an action camera."""

UPRIGHT_WEIGHT = 1e-7
"""Weight of the frame's up against one marker's direction: decides only where all else is open."""

REFINEMENTS = 14
"""Halvings of the search around an approximation: to a 16,000th of its first steps."""


class Start(NamedTuple):
    """An approximation and its misfit, roughly in units of chi-square."""

    camera: Camera
    cost: float
    upright: bool


def starts(observations: Observations, upright: bool = True, most: int = 6) -> list[Start]:
    """Return guesses of the camera, best first, no two alike.

    Every pair of a place and a focal length is given the rotation that turns the directions
    to the markers best into the rays of their pixels (Kabsch 1976, Acta Crystallographica A 32,
    922). Places are the taped one, or rings around the markers on every side and near and far.

    Parameters
    ----------
    observations : Observations
    upright : bool
        Whether the camera stands upright, or hangs upside down.
    most : int
        How many to return at most.
    """
    places, sectors = _places(observations)
    focals = _focals(observations)
    rotations, costs = _rotations(observations, places, focals)
    costs = np.where((rotations[:, :, 1, 2] < 0) == upright, costs, np.inf)
    found: list[Start] = []
    for s, k in _valleys(costs, sectors)[:most]:
        camera = _camera(observations, rotations[s, k], places[s], focals[k])
        start = Start(camera, float(costs[s, k]), upright)
        if not observations.site.placed:
            start = _refined(observations, start)
        if np.all(start.camera.in_camera(observations.taped)[:, 2] > 0.01):
            found.append(start)
    return sorted(found, key=lambda start: start.cost)


def _camera(observations: Observations, rotation: Array, place: Array, focal: float) -> Camera:
    return Camera(
        rotation=rotation,
        position=place,
        focal_px=float(focal),
        centre_px=observations.lens_values[1:3],
        size_px=observations.site.size_px,
        distortion=observations.lens_values[3:],
    )


def _refined(observations: Observations, start: Start) -> Start:
    """Search around a guess: nearer and farther, aside, up and down, wider and narrower.

    The valley along which distance and focal length compensate each other is long, narrow and
    bent; steps along it cost less here than in the adjustment.
    """
    middle = observations.taped.mean(axis=0)
    loose = observations.site.lens is None
    reach, aside, rise, zoom = 0.3, 0.13, 0.5, 0.12
    for _ in range(REFINEMENTS):
        way = start.camera.position - middle
        steps = np.array([-1.0, 0.0, 1.0])
        r, a, h = (grid.ravel() for grid in np.meshgrid(steps, steps, steps, indexing="ij"))
        far = np.hypot(way[0], way[1]) * np.exp(reach * r)
        angle = np.arctan2(way[1], way[0]) + aside * a
        height = way[2] + rise * h * max(0.5, abs(way[2]))
        places = middle + np.column_stack([far * np.cos(angle), far * np.sin(angle), height])
        focals = start.camera.focal_px * np.exp(zoom * steps if loose else np.zeros(1))
        rotations, costs = _rotations(observations, places, focals)
        costs = np.where((rotations[:, :, 1, 2] < 0) == start.upright, costs, np.inf)
        s, k = np.unravel_index(int(np.argmin(costs)), costs.shape)
        if costs[s, k] < start.cost:
            camera = _camera(observations, rotations[s, k], places[s], focals[k])
            start = Start(camera, float(costs[s, k]), start.upright)
        if s == len(places) // 2:
            reach, aside, rise, zoom = reach / 2.0, aside / 2.0, rise / 2.0, zoom / 2.0
    return start


def _places(observations: Observations) -> tuple[Array, NDArray[np.int64]]:
    """Return where the camera may stand, shape (S, 3), and the sector of each place."""
    site = observations.site
    if site.position_m is not None and site.placed:
        return site.position_m[None, :], np.zeros(1, dtype=np.int64)
    taped = observations.taped
    middle = taped.mean(axis=0)
    extent = float(np.linalg.norm(np.ptp(taped, axis=0)))
    sector, share, height = np.meshgrid(
        np.arange(SECTORS), np.array(DISTANCE_SHARES), np.array(HEIGHTS_M), indexing="ij"
    )
    angle = 2.0 * np.pi * sector.ravel() / SECTORS
    away = np.maximum(share.ravel() * extent, 1.0)
    places = np.column_stack(
        [
            middle[0] + away * np.cos(angle),
            middle[1] + away * np.sin(angle),
            taped[:, 2].min() + height.ravel(),
        ]
    )
    return places, sector.ravel()


def _focals(observations: Observations) -> Array:
    """Return focal lengths to try, px."""
    site = observations.site
    if site.lens is not None:
        return np.array([site.lens.focal_px])
    if site.field_of_view_deg is not None:
        focal = site.size_px[0] / 2.0 / np.tan(np.radians(site.field_of_view_deg) / 2.0)
        share = min(site.view_u_deg / site.field_of_view_deg, 0.3)
        return np.asarray(focal * (1.0 + share * np.array([-1.5, 0.0, 1.5])), float)
    return max(site.size_px) / 2.0 / np.tan(np.radians(VIEWS_DEG) / 2.0)


def _unusual(observations: Observations, focals: Array) -> Array:
    """Return the cost of focal lengths for their departure from the stated or usual one."""
    site = observations.site
    if site.lens is not None:
        return np.zeros(len(focals))
    if site.field_of_view_deg is not None:
        stated = site.size_px[0] / 2.0 / np.tan(np.radians(site.field_of_view_deg) / 2.0)
        return np.asarray(
            (np.log(focals / stated) / (site.view_u_deg / site.field_of_view_deg)) ** 2, float
        )
    longer = np.log(focals / usual_focal_px(site.size_px))
    sd = np.where(longer > 0.0, LONG_LOG_FOCAL_SD, USUAL_LOG_FOCAL_SD)
    return np.asarray((longer / sd) ** 2, float)


def _rotations(
    observations: Observations, places: Array, focals: Array
) -> tuple[NDArray[np.float64], Array]:
    """Return the best rotation, shape (S, K, 3, 3), and misfit, shape (S, K), of each pair."""
    bent = (observations.pixels[None] - observations.lens_values[1:3]) / focals[:, None, None]
    flat = _undistort(bent.reshape(-1, 2), observations.lens_values[3:]).reshape(bent.shape)
    rays = np.concatenate([flat, np.ones((*flat.shape[:2], 1))], axis=2)
    rays /= np.linalg.norm(rays, axis=2, keepdims=True)
    ways = observations.taped[None] - places[:, None]
    reach = np.linalg.norm(ways, axis=2, keepdims=True)
    ways = ways / np.maximum(reach, 1e-6)
    together = np.einsum("kia,sib->skab", rays, ways)
    # One faint pair more, the frame's up and the ground's, settles what markers leave undetermined.
    together[:, :, 1, 2] -= UPRIGHT_WEIGHT
    left, singular, right = np.linalg.svd(np.nan_to_num(together))
    handed = np.sign(np.linalg.det(left) * np.linalg.det(right))
    left[..., :, 2] *= handed[..., None]
    rotations = left @ right
    agreement = singular[..., 0] + singular[..., 1] + handed * singular[..., 2]
    misfit = np.maximum(2.0 * (len(observations.taped) - agreement), 0.0)
    spread = np.array([marker.pixel_u for marker in observations.markers]).mean()
    cost = misfit * (focals[None, :] / spread) ** 2
    return rotations, cost + _unusual(observations, focals)[None, :]


def _valleys(costs: Array, sectors: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return the cheapest pair of each valley around the ring of sectors, or along the focals."""
    if len(costs) == 1:
        line = costs[0]
        padded = np.concatenate([[np.inf], line, [np.inf]])
        low = (line <= padded[:-2]) & (line <= padded[2:]) & np.isfinite(line)
        pairs = [(0, int(k)) for k in np.flatnonzero(low)]
    else:
        best = {}
        for sector in range(SECTORS):
            rows = np.flatnonzero(sectors == sector)
            at, k = np.unravel_index(int(np.argmin(costs[rows])), costs[rows].shape)
            best[sector] = (int(rows[at]), int(k))
        ring = np.array([costs[best[sector]] for sector in range(SECTORS)])
        low = (ring <= np.roll(ring, 1)) & (ring <= np.roll(ring, -1)) & np.isfinite(ring)
        pairs = [best[int(sector)] for sector in np.flatnonzero(low)]
    return sorted(pairs, key=lambda pair: costs[pair])
