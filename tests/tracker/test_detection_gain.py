"""The summed change that a ball makes, against balls that are drawn."""

import cv2
import numpy as np
import pytest

from tracker.detection import change_per_contrast
from tracker.detection.ball_image import ball_images
from tracker.detection.component import shrink_of

PLACES = np.linspace(-0.5, 0.5, 5)


def drawn_change(diameter: float, streak: float, usual: float) -> float:
    """The mean over places in the pixel of the largest sum of 2 by 2 pixels of a drawn ball."""
    span = np.arange(48, dtype=np.float32)[None]
    sums = []
    for right in PLACES:
        for down in PLACES:
            picture = ball_images(
                (span, span),
                np.array([[24.0 + right, 24.0 + down]]),
                np.array([[streak, 0.0]]),
                np.array([diameter / 2.0]),
                np.zeros((1, 2)),
            )[0].reshape(48, 48)
            side = 48 // shrink_of(usual)
            whole = side * shrink_of(usual)
            small = cv2.resize(picture[:whole, :whole], (side, side), interpolation=cv2.INTER_AREA)
            pairs = small[:-1] + small[1:]
            sums.append(float((pairs[:, :-1] + pairs[:, 1:]).max()))
    return float(np.mean(sums))


@pytest.mark.parametrize("streak", [0.0, 2.5, 6.0])
@pytest.mark.parametrize("diameter", [1.5, 2.0, 3.0, 4.5, 9.0])
def test_a_drawn_ball_makes_the_change_that_is_expected(diameter: float, streak: float) -> None:
    expected = change_per_contrast([diameter], [streak], diameter)
    assert expected == pytest.approx(drawn_change(diameter, streak, diameter), rel=0.12)


def test_a_ball_half_as_large_as_the_finder_was_set_for_makes_less_than_a_third() -> None:
    whole, half = change_per_contrast([6.0, 3.0], [0.0, 0.0], 6.0)
    assert half < whole / 3.0
