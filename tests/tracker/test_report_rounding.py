"""Figures rounded as far as their standard uncertainty goes."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.invented_shot import invented, unmeasured
from tracker.records import Quality, Reason, ReasonCode, Shot
from tracker.report.rounding import aligned, whole_percents, with_uncertainty
from tracker.report.terminal import remarks, shots_table, truth_table

# JCGM 100:2008: 7.2.6 rounds 10.47 mOhm up only with reason and 0.28 Hz kept with two digits;
# H.1 states 0.035 mm and 50.000 838 mm +- 0.000 032 mm in 7.2.2's manner.
CASES = [
    (18.2345, 0.0461, "18.23 ±0.05"),
    (42.0, 0.131, "42.00 ±0.13"),
    (42.0, 0.0996, "42.00 ±0.10"),
    (-0.321, 0.41, "-0.3 ±0.4"),
    (-0.001, 0.04, "0.00 ±0.04"),
    (33.7, 12.4, "34 ±12"),
    (33.7, 0.29, "33.70 ±0.29"),
    (33.7, 0.96, "33.7 ±1.0"),
    (133.7, 120.0, "134 ±120"),
    (1.5, None, "1.50"),
    (1.5, float("nan"), "1.50"),
    (None, 0.1, "-"),
    (float("nan"), 0.1, "-"),
]


@pytest.mark.parametrize(("value", "u", "shown"), CASES)
def test_the_value_is_shown_as_far_as_its_uncertainty(
    value: float | None, u: float | None, shown: str
) -> None:
    assert with_uncertainty(value, u) == shown


def test_a_column_has_the_decimals_of_its_smallest_uncertainty() -> None:
    found = aligned([(22.874, 0.262), (19.31, 0.33), (35.4, 12.0), (None, 0.1), (7.0, None)])
    assert found == ["22.87 ±0.26", "19.31 ±0.33", "35.40 ±12.00", "-", "7.00"]
    assert aligned([(34.2, 12.4), (5.0, float("nan"))]) == ["34 ±12", "5"]
    assert aligned([(None, 0.001), (34.2, 12.4)]) == ["-", "34 ±12"]
    assert aligned([]) == []


@given(st.floats(-1e3, 1e3), st.floats(1e-4, 10.0))
def test_rounding_changes_neither_by_more_than_a_fifth_of_the_uncertainty(
    value: float, u: float
) -> None:
    shown, shown_u = (float(part) for part in with_uncertainty(value, u).split(" ±"))
    assert abs(shown - value) <= 0.2 * u
    assert abs(shown_u - u) <= 0.2 * u


def as_text(table: object, width: int) -> str:
    import io

    from rich.console import Console

    console = Console(file=io.StringIO(), width=width, legacy_windows=False)
    console.print(table)
    return console.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", [80, 120])
def test_the_table_fits_the_console_and_any_code_page(width: int) -> None:
    text = as_text(shots_table([invented()[0].shot, unmeasured()], width), width)
    text.encode("cp1252")
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "18.00 ±0.05" in text
    assert "…" not in text
    assert ("azimuth" in text) == (width == 120)


def test_measured_stands_beside_true() -> None:
    shot = invented()[0].shot
    text = as_text(truth_table([(shot, {"carry_m": 33.7, "exit_speed_mps": 18.02})]), 80)
    assert "18.00 ±0.05" in text
    assert "18.02" in text
    assert "33.70" in text


def test_every_shot_that_is_not_good_is_explained() -> None:
    (sentence,) = remarks([invented()[0].shot, unmeasured()])
    assert sentence.startswith("shot 2, rejected: ")
    assert sentence.endswith("no flight fits its positions.")


def test_shots_to_be_checked_for_the_same_are_named_in_one_sentence() -> None:
    shot = invented()[0].shot

    def checked(number: int, *reasons: Reason) -> Shot:
        return replace(shot, shot=number, quality=Quality.CHECK, reasons=reasons)

    far, farther = (
        Reason(ReasonCode.GRAVITY_IS_SCALE, {"away": away, "away_u": 6.0}) for away in (29.0, 34.0)
    )
    few, fewer = (Reason(ReasonCode.FEW_FRAMES, {"frames": count}) for count in (9.0, 8.0))
    said = remarks(
        [checked(1, far), checked(2, farther), checked(3, few), checked(4, fewer), checked(5, few)]
    )
    assert [one.partition(":")[0] for one in said] == [
        "shots 1 and 2, check",
        "shots 3 and 5, check",
        "shot 4, check",
    ]
    assert said[0].endswith("only assumed (the figures are those of shot 1)")
    assert said[1].endswith("only 9 frames.")


@pytest.mark.parametrize(
    ("shares", "rounded"),
    [
        ([0.225, 0.225, 0.225, 0.225, 0.1], [0.23, 0.23, 0.22, 0.22, 0.1]),
        ([0.335, 0.335, 0.33], [0.34, 0.33, 0.33]),
        ([1.0], [1.0]),
        ([0.496, 0.496, 0.008], [0.5, 0.49, 0.01]),
    ],
)
def test_percents_of_a_whole_add_up_to_a_hundred(shares: list[float], rounded: list[float]) -> None:
    assert whole_percents(shares) == rounded
    assert sum(round(100 * each) for each in whole_percents(shares)) == 100
