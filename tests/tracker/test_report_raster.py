"""Pictures laid into a sheet: each pixel where it belongs, nothing beyond its area."""

import numpy as np
import pytest

from tracker.report.look import DOTS_PER_INCH
from tracker.report.raster import show

SIDE = 120
"""Side of the sheet, px."""


def sheet(picture, extent, limits):
    """Return the sheet's pixels, from above, with the picture in its middle third."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(SIDE / DOTS_PER_INCH,) * 2, dpi=DOTS_PER_INCH, facecolor="black")
    axes = figure.add_axes((1 / 3, 1 / 3, 1 / 3, 1 / 3))
    axes.set_axis_off()
    axes.set_xlim(*limits[0])
    axes.set_ylim(*limits[1])
    show(axes, picture, extent)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[:, :, :3].copy()


def noise(shape, seed=1):
    return np.random.default_rng(seed).integers(1, 256, (*shape, 3)).astype(np.uint8)


def test_a_picture_as_large_as_its_area_is_shown_pixel_for_pixel():
    picture = noise((40, 40))
    shown = sheet(picture, (-0.5, 39.5, 39.5, -0.5), ((-0.5, 39.5), (39.5, -0.5)))
    assert np.array_equal(shown[40:80, 40:80], picture)
    shown[40:80, 40:80] = 0
    assert not shown.any()


def test_an_enlarged_pixel_is_a_square():
    picture = noise((8, 8))
    shown = sheet(picture, (0, 8, 8, 0), ((0, 8), (8, 0)))
    assert np.array_equal(shown[40:80, 40:80], np.kron(picture, np.ones((5, 5, 1), np.uint8)))


def test_only_what_lies_in_the_area_is_shown():
    picture = noise((8, 8))
    shown = sheet(picture, (-4, 4, 4, -4), ((0, 8), (8, 0)))
    expected = np.zeros((SIDE, SIDE, 3), np.uint8)
    expected[40:60, 40:60] = np.kron(picture[4:8, 4:8], np.ones((5, 5, 1), np.uint8))
    assert np.array_equal(shown, expected)


@pytest.mark.parametrize("extent", [(20, 28, 8, 0), (0, 8, -10, -18)])
def test_a_picture_beside_the_area_is_left_out(extent):
    assert not sheet(noise((8, 8)), extent, ((0, 8), (8, 0))).any()


def test_a_reduced_picture_keeps_its_levels():
    rows, columns = np.mgrid[:64, :64]
    picture = np.stack([2 * rows, 2 * columns, np.full_like(rows, 90)], axis=2).astype(np.uint8)
    shown = sheet(picture, (0, 64, 64, 0), ((0, 64), (64, 0)))[40:80, 40:80]
    at = (np.arange(40) + 0.5) * 64 / 40 - 0.5
    assert shown[:, 20, 0] == pytest.approx(2 * at, abs=1.5)
    assert shown[20, :, 1] == pytest.approx(2 * at, abs=1.5)
