"""A camera that looks elsewhere is followed from another frame on."""

import numpy as np
import pytest

from calibration.camera import looking_at
from tests.tracker.test_measurement_frames import Still, a_pass, frame
from tracker.measurement.renewals import RENEW_S, Renewals
from tracker.measurement.steadying import Steadier

FRAME_S = 0.02
SIZE_PX = (640, 360)


def dues(lost: str, watching: bool = True) -> list[int]:
    renewals = Renewals(watching)
    return [at for at, each in enumerate(lost) if renewals.due(FRAME_S * at, each == "x")]


def test_another_frame_is_taken_where_the_background_stays_lost() -> None:
    """Ten frames are `RENEW_S`."""
    assert pytest.approx(10 * FRAME_S) == RENEW_S
    assert dues("..." + 11 * "x" + "....") == [13]
    assert dues("..." + 10 * "x" + "....") == []
    assert dues(6 * "x" + "." + 8 * "x") == []
    assert dues(33 * "x") == [10, 21, 32]
    assert dues(33 * "x", watching=False) == []


def test_a_later_pass_takes_the_frames_of_an_earlier_one() -> None:
    first = Renewals(True)
    for at in range(30):
        first.due(FRAME_S * at, 4 < at < 20)
    later = Renewals(times_s=first.times_s)
    again = [at for at in range(30) if later.due(FRAME_S * at, False)]
    assert again == [round(each / FRAME_S) for each in first.times_s] == [15]


def test_a_pass_holds_its_frames_against_another_one() -> None:
    class Renewed(Still):
        def renew(self, luma: str) -> None:
            self.seen.append(luma)

    camera, loop = Renewed(lost=True), a_pass(renewals=Renewals(True))
    for at in range(14):
        loop._view(frame(at), camera)
    assert camera.seen == [*range(10), "luma", *range(10, 14)]
    assert loop.renewals.times_s == pytest.approx([10 * FRAME_S])


def texture(seed: int) -> np.ndarray:
    import cv2

    rng = np.random.default_rng(seed)
    coarse = rng.integers(20, 230, (SIZE_PX[1] // 8, SIZE_PX[0] // 8)).astype(np.uint8)
    return np.asarray(cv2.resize(coarse, SIZE_PX, interpolation=cv2.INTER_CUBIC), np.uint8)


def test_a_view_that_was_left_is_lost_until_another_frame_is_taken() -> None:
    camera = looking_at((17.0, -30.0, 1.5), (17.0, 0.0, 5.0), 500.0, SIZE_PX)
    steadier, here, there = Steadier(camera, FRAME_S), texture(1), texture(2)
    steadier.see(0, here)
    for at in range(1, 12):
        steadier.see(at, there)
    assert steadier.lost
    steadier.renew(there)
    for at in range(12, 30):
        drawn, _ = steadier.see(at, there)
        assert not steadier.lost
        np.testing.assert_array_equal(drawn, there)
