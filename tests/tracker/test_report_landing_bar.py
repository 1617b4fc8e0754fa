"""What is drawn of a flight over its frame: the fitted line, and the landing with its bar."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_shot import CAMERA, invented
from tracker.report.landing_bar import fitted_places, landing_bar


def test_the_fitted_line_is_the_places_less_their_residuals() -> None:
    points = invented()[0].points
    lost = replace(points[0], residual_column_px=float("nan"))
    drawn = fitted_places([lost, *points[1:]])
    true = CAMERA.project([(one.along_m, one.across_m, one.up_m) for one in points[1:]])
    assert np.array(drawn) == pytest.approx(true, abs=1e-6)


def test_the_bar_of_a_landing_is_one_standard_uncertainty_each_way() -> None:
    made = invented()[0]
    shot = replace(made.shot, landing_along_u_m=0.5)
    assert shot.landing_along_m is not None
    bar = landing_bar(shot, made.points)
    assert bar is not None
    ends = [(shot.landing_along_m + u, 0.0, 0.0) for u in (-0.5, 0.5)]
    assert np.array(bar) == pytest.approx(CAMERA.project(ends), abs=0.1)


def test_a_landing_far_from_the_last_place_has_no_bar() -> None:
    made = invented()[0]
    assert landing_bar(made.shot, made.points[:-20]) is None
    assert landing_bar(made.shot, made.points[-7:]) is None
    assert landing_bar(replace(made.shot, landing_along_m=None), made.points) is None
