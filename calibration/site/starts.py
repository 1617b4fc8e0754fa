"""First guesses of the camera from everywhere it could stand, so that no solution is missed."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.camera import undistort as _undistort
from calibration.site.observations import USUAL_LOG_FOCAL_SD, Observations, usual_focal_px

Array = NDArray[np.float64]

SECTORS = 24
DISTANCE_SHARES = (0.3, 0.55, 0.9, 1.5, 2.5)
HEIGHTS_M = (0.5, 1.5, 5.0)
VIEWS_DEG = (25.0, 32.0, 40.0, 48.0, 56.0, 64.0, 72.0, 82.0, 95.0, 112.0)
UPRIGHT_WEIGHT = 1e-7


class Start(NamedTuple):
    """A guess and how badly it fits, roughly in units of chi-square."""

    camera: Camera
    cost: float
    upright: bool


def starts(observations: Observations, most: int = 6) -> list[Start]:
    """Return guesses of the camera, best first, no two alike.

    Every pair of a place and a focal length is given the rotation that turns the directions
    to the markers best into the rays of their pixels (Kabsch 1976, Acta Crystallographica A 32,
    922). Places are the taped one, or rings around the markers on every side and near and far.

    Parameters
    ----------
    observations : Observations
    most : int
        How many to return at most of those that stand upright, and as many that do not.
    """
    places, sectors = _places(observations)
    focals, priors = _focals(observations)
    rotations, costs = _rotations(observations, places, focals)
    costs = costs + priors[None, :]
    upright = rotations[:, :, 1, 2] < 0
    found: list[Start] = []
    for wanted in (True, False):
        masked = np.where(upright == wanted, costs, np.inf)
        for s, k in _valleys(masked, sectors)[:most]:
            camera = Camera(
                rotation=rotations[s, k],
                position=places[s],
                focal_px=float(focals[k]),
                centre_px=observations.lens_values[1:3],
                size_px=observations.site.size_px,
                distortion=observations.lens_values[3:],
            )
            if np.all(camera.in_camera(observations.taped)[:, 2] > 0.01):
                found.append(Start(camera, float(masked[s, k]), wanted))
    return sorted(found, key=lambda start: (not start.upright, start.cost))


def _places(observations: Observations) -> tuple[Array, NDArray[np.int64]]:
    """Return where the camera may stand, shape (S, 3), and the sector of each place."""
    if observations.site.position_m is not None:
        return observations.site.position_m[None, :], np.zeros(1, dtype=np.int64)
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


def _focals(observations: Observations) -> tuple[Array, Array]:
    """Return focal lengths to try, px, and what each costs for being unusual."""
    site = observations.site
    width = max(site.size_px)
    if site.lens is not None:
        return np.array([site.lens.focal_px]), np.zeros(1)
    if site.field_of_view_deg is not None:
        focal = site.size_px[0] / 2.0 / np.tan(np.radians(site.field_of_view_deg) / 2.0)
        share = site.view_u_deg / site.field_of_view_deg
        steps = np.array([-1.5, 0.0, 1.5])
        return focal * (1.0 + steps * min(share, 0.3)), steps**2
    focals = width / 2.0 / np.tan(np.radians(VIEWS_DEG) / 2.0)
    unusual = np.log(focals / usual_focal_px(site.size_px)) / USUAL_LOG_FOCAL_SD
    return focals, unusual**2


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
    # One faint pair more, the frame's up and the ground's, settles what markers leave open.
    together[:, :, 1, 2] -= UPRIGHT_WEIGHT
    left, singular, right = np.linalg.svd(np.nan_to_num(together))
    handed = np.sign(np.linalg.det(left) * np.linalg.det(right))
    left[..., :, 2] *= handed[..., None]
    rotations = left @ right
    agreement = singular[..., 0] + singular[..., 1] + handed * singular[..., 2]
    misfit = np.maximum(2.0 * (len(observations.taped) - agreement), 0.0)
    spread = np.array([marker.pixel_u for marker in observations.markers]).mean()
    return rotations, misfit * (focals[None, :] / spread) ** 2


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
