import pytest

from calibration.errors import InputError, InputErrors
from tracker.flight.ball import BALLS, ball_from, ball_named


def test_names_are_found_however_they_are_written():
    assert ball_named("Table-Tennis") is ball_named(" table tennis ")
    assert ball_named("foam_training").name == "foam training"
    assert len({ball.name for ball in BALLS}) == len(BALLS)


def test_an_unknown_ball_is_answered_with_what_is_known():
    with pytest.raises(InputError) as caught:
        ball_named("tenis")
    assert "'tenis' is not in the ball table" in str(caught.value)
    assert caught.value.remedy.startswith("did you mean tennis? Else use one of tennis, ")
    for ball in BALLS:
        assert ball.name in str(caught.value)


def test_measured_figures_replace_the_table():
    ball = ball_from("tennis", mass_g=58.0, diameter_mm=66.0, drag_coefficient=0.6)
    assert (ball.mass_kg, ball.diameter_m, ball.drag_coefficient) == (0.058, 0.066, 0.6)
    assert ball.mass_u_kg == pytest.approx(0.0005)
    assert ball.diameter_u_m == pytest.approx(0.00066)
    assert ball.drag_u == pytest.approx(0.06)
    assert ball_from("table tennis", mass_g=2.7).mass_u_kg == pytest.approx(2.7e-5)


def test_only_what_was_measured_is_replaced():
    assert ball_from("tennis") == ball_named("tennis")
    assert ball_from("tennis", mass_g=58.0).diameter_m == ball_named("tennis").diameter_m


def test_custom_ball():
    ball = ball_from("custom", 90.0, 80.0, 0.5)
    assert (ball.mass_kg, ball.diameter_m, ball.drag_coefficient) == (0.09, 0.08, 0.5)
    assert ball.lift_u > 0


def test_custom_ball_needs_all_three():
    with pytest.raises(InputErrors) as caught:
        ball_from("custom", mass_g=90.0)
    assert len(caught.value.sentences()) == 2
    assert "[ball] diameter_mm" in str(caught.value)
    assert "[ball] drag_coefficient" in str(caught.value)


@pytest.mark.parametrize(
    "wrong", [{"mass_g": 0.057}, {"diameter_mm": 6.7e3}, {"drag_coefficient": float("nan")}]
)
def test_figures_in_the_wrong_unit_are_refused(wrong):
    with pytest.raises(InputErrors, match=r"out of range"):
        ball_from("tennis", **wrong)
