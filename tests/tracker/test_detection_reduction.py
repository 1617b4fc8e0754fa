"""A picture made smaller by a whole number: means of squares, whatever the strips."""

import numpy as np
import pytest

from tracker.detection import reduction
from tracker.detection.reduction import Reduction


@pytest.mark.parametrize("strip", [1, 5_000, 10**9])
@pytest.mark.parametrize("shrink", [1, 2, 3, 4, 5, 6, 8])
def test_each_pixel_is_the_mean_of_a_square(
    shrink: int, strip: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reduction, "STRIP", strip)
    shape = 37, 29
    maker = Reduction(shrink)
    for seed in range(2):
        whole = np.random.default_rng(seed).integers(
            0, 256, (shrink * shape[0], shrink * shape[1] + 7), np.uint8
        )
        part, block = whole[:, : shrink * shape[1]], np.zeros((shape[0], shape[1] + 3), np.uint8)
        maker.reduce(part, block[:, : shape[1]])
        means = part.reshape(shape[0], shrink, shape[1], shrink).mean(axis=(1, 3))
        # Halves are rounded once before the rest, four of them or more.
        off = np.abs(block[:, : shape[1]] - means).max()
        assert off <= (1.0 if shrink in (4, 6, 8) else 0.5)
        assert not block[:, shape[1] :].any()
