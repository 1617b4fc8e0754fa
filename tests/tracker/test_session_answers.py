"""Answers in plain words, with the units of tape measures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import InputError
from tracker.session import Draft, draft_toml, length_m, number, speed_mps, to_millimetre

LENGTHS = {
    "0.8": 0.8, "0,8": 0.8, " 80 cm ": 0.8, "80cm": 0.8, "800 mm": 0.8, "-28,5": -28.5,
    "1 m": 1.0, "2 ft 7 in": 0.7874, "2'7\"": 0.7874, "2′7″": 0.7874, "2 ft": 0.6096,
    "31 in": 0.7874, '31"': 0.7874, "2.5 ft": 0.762, "-95 ft": -28.956, "2 feet 7 inches": 0.7874,
    "10 1/2 in": 0.2667, "2 ft 10 1/2 in": 0.8763, '2\'10½"': 0.8763, "3/4 in": 0.01905,
}  # fmt: skip
"""Foot and inch are exactly 0.3048 and 0.0254 m: international yard and pound agreement, 1959."""


@pytest.mark.parametrize("text", LENGTHS)
def test_a_length_is_converted_to_metres(text: str) -> None:
    assert length_m(text) == pytest.approx(LENGTHS[text], abs=1e-12)


@pytest.mark.parametrize(
    "text", ["", "high", "1 2", "3 stone", "1.2.3", "2 in 7 ft", "1/0 in", "3 1/2/2 in"]
)
def test_what_is_no_length_says_how_to_write_one(text: str) -> None:
    with pytest.raises(InputError, match="2 ft 7 in"):
        length_m(text)


@pytest.mark.parametrize(
    ("text", "value"), [("42", 42), ("39°", 39), ("39,5", 39.5), ("-3 deg", -3)]
)
def test_a_number_may_have_a_comma_and_a_degree_sign(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize("text", ["", "steep", "4 2"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="no number"):
        number(text)


@given(st.integers(0, 400), st.integers(0, 11))
def test_feet_and_inches_add_up(feet: int, inches: int) -> None:
    assert length_m(f"{feet} ft {inches} in") == pytest.approx(length_m(f"{12 * feet + inches} in"))


def test_what_is_written_has_no_digits_of_a_conversion() -> None:
    place = tuple(length_m(text) for text in ("17.7", "-91 ft 7 in", "5 ft 4 1/8 in"))
    assert to_millimetre(place) == [17.7, -27.915, 1.629]
    text = draft_toml(Draft("Fen Lane", (), position_m=place))  # type: ignore[arg-type]
    assert "position_m = [17.7, -27.915, 1.629]" in text


@pytest.mark.parametrize(
    ("text", "mps"),
    [
        ("1.5", 1.5),
        ("-1,5 m/s", -1.5),
        ("18 km/h", 5.0),
        ("18 kmh", 5.0),
        ("18 kph", 5.0),
        ("10 mph", 4.4704),
    ],
)
def test_a_speed_is_converted_to_metres_a_second(text: str, mps: float) -> None:
    assert speed_mps(text) == pytest.approx(mps)


@pytest.mark.parametrize("text", ["", "fresh", "3 Bft", "5 km", "1.5.2"])
def test_what_is_no_speed_says_how_to_write_one(text: str) -> None:
    with pytest.raises(InputError, match="is no speed") as caught:
        speed_mps(text)
    assert "12 km/h" in caught.value.sentences()[0]
