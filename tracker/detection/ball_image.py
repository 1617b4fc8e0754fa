"""The picture of a ball: a disc with a soft edge, drawn out along its path during the exposure."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Fine = NDArray[np.float32]

EDGE_PX = 0.65
"""Softness of the disc's edge, px (1 sd): lens, pixel area and encoder together (common practice,
no source)."""

LEAST_RADIUS_PX = 0.8
"""Radius from which the slope of light is counted at least, px: a smaller ball's rim is the
blur's."""

LOGISTIC = 1.702
"""Steepness of the logistic curve that is nearest to the normal one, within 0.01 (D. C. Haley,
1952; from memory)."""

STEP_RADII = 1.5
"""Distance between the discs that make up a streak, radii: two of them overlap (common practice, no
source)."""

MOST_DISCS = 15
"""Discs that make up a streak at most: a longer one is drawn coarser."""

LARGEST_EXPONENT = 60.0
"""Exponent beyond which a disc adds nothing to a pixel."""


def ball_images(
    grid: tuple[Fine, Fine], place: Array, streak: Array, radius: Array, light: Array
) -> list[Fine]:
    """Return the ball's picture of unit contrast and its derivatives, each of shape (N, P).

    In this order: the picture; its derivatives by column and row of the place; the pictures of a
    slope of one step from the middle to the rim, along columns and along rows; and, where the light
    is uneven, what that adds to the two derivatives. Seven digits are enough: a pixel's own value
    has two or three.

    Parameters
    ----------
    grid : two ndarrays, shape (N, side)
        Columns and rows of each cutout.
    place : ndarray, shape (N, 2)
    streak : ndarray, shape (N, 2)
        Path during the exposure, px.
    radius : ndarray, shape (N,)
    light : ndarray, shape (N, 2)
        Slope of the light, luma steps from the middle to the rim.
    """
    grid_x, grid_y = grid
    offsets = _disc_offsets(streak, radius)
    shape = (len(grid_x), grid_y.shape[1], grid_x.shape[1])
    uneven = bool(np.any(light != 0.0))
    along, upright = light.astype(np.float32).T[:, :, None, None]
    found = [np.empty(shape, np.float32) for _ in range(7 if uneven else 5)]
    share, distance, part = (np.empty(shape, np.float32) for _ in range(3))
    steepness = np.float32(LOGISTIC / EDGE_PX)
    rim = (radius * steepness).astype(np.float32)[:, None, None]
    for number, offset in enumerate(offsets):
        middle = (place + offset * streak).astype(np.float32)
        dx = (grid_x - middle[:, :1])[:, None, :]
        dy = (grid_y - middle[:, 1:])[:, :, None]
        np.add(dx * dx, dy * dy + np.float32(1e-6), out=distance)
        np.sqrt(distance, out=distance)
        _cover(distance, steepness, rim, share)
        sums = [(0, share, np.float32(1.0)), (3, share, dx), (4, share, dy)]
        _add(found, number, sums, part)
        # From here on `distance` holds the slope over the distance.
        np.multiply(share, share, out=part)
        np.subtract(share, part, out=part)
        np.divide(part, distance, out=distance)
        _add(found, number, [(1, distance, dx), (2, distance, dy)], part)
        if uneven:
            np.add(along * dx, upright * dy, out=part)
            distance *= part
            _add(found, number, [(5, distance, dx), (6, distance, dy)], part)
    for image in found[1:3] + found[5:]:
        image *= steepness
    per_radius = (1.0 / np.maximum(radius, LEAST_RADIUS_PX)).astype(np.float32)[:, None, None]
    for towards, image in zip((along, upright), found[5:], strict=False):
        np.multiply(towards, found[0], out=part)
        image -= part
    for image in found[3:]:
        image *= per_radius
    if len(offsets) > 1:
        for image in found:
            image /= np.float32(len(offsets))
    return [image.reshape(len(grid_x), -1) for image in found]


def _add(
    images: list[Fine],
    number: int,
    sums: list[tuple[int, Fine, Fine | np.float32]],
    work: Fine,
) -> None:
    """Add products to images; those of the first disc, number 0, are their first values.

    Parameters
    ----------
    images : list of ndarray
    number : int
    sums : list of (int, ndarray, ndarray)
        Of each image its place in the list, and both factors.
    work : ndarray
        Overwritten.
    """
    for place, one, other in sums:
        if number == 0:
            np.multiply(one, other, out=images[place])
        else:
            np.multiply(one, other, out=work)
            images[place] += work


def _cover(distance: Fine, steepness: np.float32, rim: Fine, share: Fine) -> None:
    """Write the share of each pixel that a disc covers to `share`, all in place.

    The logistic curve stands in for the normal one: much cheaper.
    """
    np.multiply(distance, steepness, out=share)
    share -= rim
    np.minimum(share, np.float32(LARGEST_EXPONENT), out=share)
    np.exp(share, out=share)
    share += np.float32(1.0)
    np.reciprocal(share, out=share)


def _disc_offsets(streak: Array, radius: Array) -> Array:
    """Return where along the streak the discs lie, as shares of it from its middle."""
    longest = float(np.max(np.linalg.norm(streak, axis=1)))
    thin = float(max(np.min(radius), LEAST_RADIUS_PX))
    count = int(np.clip(2 * np.ceil(longest / (STEP_RADII * thin)) + 1, 1, MOST_DISCS))
    return (np.arange(count) + 0.5) / count - 0.5
