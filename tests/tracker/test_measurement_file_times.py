"""Whether a clip's own times stand although its background says that they lie."""

from dataclasses import replace

from tests.tracker.invented_shot import invented
from tracker.measurement.starts.release import fits_better
from tracker.records import MeasuredShot, Quality


def scattering(by: float) -> MeasuredShot:
    """The invented shot, its places so many times as far from its flight."""
    shot = invented()[0]
    points = [
        replace(
            point,
            residual_column_px=by * point.residual_column_px,
            residual_row_px=by * point.residual_row_px,
        )
        for point in shot.points
    ]
    return replace(shot, points=tuple(points))


def rejected() -> MeasuredShot:
    shot = scattering(1.0)
    return replace(shot, shot=replace(shot.shot, quality=Quality.REJECTED))


def test_times_stand_by_which_balls_fly_on_evenly():
    assert any(point.residual_row_px for point in scattering(1.0).points)
    assert fits_better([scattering(1.0)], [rejected()])
    assert fits_better([scattering(1.0)], [])
    assert fits_better([scattering(1.0)], [scattering(3.0)])
    assert fits_better([scattering(1.0)] * 2, [scattering(1.2)])


def test_mended_times_are_taken_unless_a_flight_speaks_against_them():
    assert not fits_better([], [])
    assert not fits_better([rejected()], [])
    assert not fits_better([scattering(1.0)], [scattering(1.0)])
    assert not fits_better([scattering(3.0)], [scattering(1.0)])
    assert not fits_better([scattering(1.0)], [scattering(1.2)] * 2)
    assert not fits_better([scattering(1.0)], [scattering(9.0)] * 2)
    assert not fits_better([scattering(1.0)] * 2, [scattering(0.3)])
