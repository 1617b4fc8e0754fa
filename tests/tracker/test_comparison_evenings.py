"""Shots of one setup on several evenings."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_outings import AIR, TENNIS, shots_of
from tests.tracker.test_comparison_setups import row
from tracker.comparison.compare import compare
from tracker.comparison.evenings import Evenings, evening_effect, evening_residue
from tracker.comparison.setups import SetupShots
from tracker.comparison.shares import Shares
from tracker.comparison.still_air import differs, in_still_air, uneven_wind
from tracker.comparison.words import sentences
from tracker.launcher.carry import Release, carry_of
from tracker.launcher.prediction import Outdoors
from tracker.statistics.means import groups_of


def shot_on(name: str, cells: dict[str, list[float]]) -> SetupShots:
    values = [(evening, value) for evening, cell in cells.items() for value in cell]
    shots = tuple(row(name, i + 1, value) for i, (_, value) in enumerate(values))
    evenings = tuple(evening for evening, _ in values)
    return SetupShots(name, shots, evenings, (), evenings)


def experiment(draw, tau: float, evenings: tuple[str, str]) -> SetupShots:
    cells = {name: list(30.0 + draw.normal(0, tau) + draw.normal(0, 0.4, 5)) for name in evenings}
    return shot_on("-".join(evenings), cells)


@pytest.mark.parametrize(("tau", "most_false"), [(0.0, 0.03), (0.45, 0.08)])
def test_evenings_that_differ_make_few_false_differences(tau: float, most_false: float) -> None:
    """Two alike setups, two evenings each that differ by 1.5 %: pooled as one sample 25 %."""
    draw = np.random.default_rng(11)
    false, held, trials = 0, 0, 120
    for _ in range(trials):
        found = compare([experiment(draw, tau, ("a", "b")), experiment(draw, tau, ("c", "d"))])
        false += any(contrast.pair.significant for contrast in found.contrasts)
        for summary in found.summaries:
            low, high = summary.mean.interval()
            held += low <= 30.0 <= high
    assert false / trials <= most_false
    assert held / (2 * trials) >= 0.92


def test_evenings_that_differ_are_reported_with_their_ranges() -> None:
    cells = {"may": [28.9, 29.1, 29.4, 29.0], "june": [30.3, 30.9, 31.3, 30.6]}
    said = " ".join(sentences(compare([shot_on("140 mm", cells)])))
    assert "differ by more than its shots do (28.9 to 29.4 and 30.3 to 31.3 m)" in said
    alike = {"may": [28.9, 29.1, 29.4, 29.0], "june": [29.0, 29.3, 28.8, 29.2]}
    assert "differ by more" not in " ".join(sentences(compare([shot_on("140 mm", alike)])))


def test_of_many_evenings_the_lowest_and_the_highest_are_reported() -> None:
    """A thousand evenings, of which one lies apart: its range is stated, not a thousand."""
    draw = np.random.default_rng(8)
    cells = {f"{day}": list(30.0 + draw.normal(0.0, 0.2, 8)) for day in range(1000)}
    cells["500"] = [35.0, 35.1, 34.9, 35.0] * 2
    said = " ".join(sentences(compare([shot_on("140 mm", cells)])))
    assert "and 34.9 to 35.1 m on the highest of 1000)" in said
    assert len(said) < 1000


def test_one_evening_leaves_everything_as_it_was() -> None:
    one, other = shot_on("a", {"may": [28.9, 29.1, 29.4]}), shot_on("b", {"may": [30.0, 31.0]})
    found = compare([one, other])
    assert all(summary.evenings.mean_u == 0.0 for summary in found.summaries)
    assert evening_effect([groups_of([0, 0], [1.0, 2.0])] * 2) == 0.0


def test_the_effect_follows_the_evenings() -> None:
    """Many evenings that scatter by 2 around shots that scatter by 0.5."""
    draw = np.random.default_rng(3)
    which = np.repeat(np.arange(40), 4)
    values = 30 + draw.normal(0, 2, 40)[which] + draw.normal(0, 0.5, 160)
    assert evening_effect([groups_of(which, values)]) == pytest.approx(2.0, rel=0.25)
    flat = groups_of(which, 30 + draw.normal(0, 0.5, 160))
    assert evening_effect([flat]) < 0.3


def test_what_an_evening_has_in_common_cancels_by_half() -> None:
    same, other = (Evenings(Shares((name,), np.ones(1)), 1.0) for name in ("may", "june"))
    assert evening_residue(same, same) == pytest.approx(1.0)
    assert evening_residue(same, other) == pytest.approx(2.0**0.5)


def test_a_tail_wind_is_taken_out_of_the_carry() -> None:
    windy = replace(AIR, wind_along_mps=3.0)
    release = Release(0.8, 42.0)
    calm = carry_of(25.0, 0.0, release, TENNIS, AIR).carry_m
    blown = carry_of(25.0, 0.0, release, TENNIS, windy).carry_m
    shot = replace(shots_of("140 mm wheels", 1)[0], exit_speed_mps=25.0, launch_angle_deg=42.0)
    setup = SetupShots("a", (replace(shot, carry_m=blown),), ("may",), (), ("may",))
    airs = {"may": Outdoors(TENNIS, windy, release)}
    assert blown > calm + 1.0
    assert differs(airs) and not differs({"may": Outdoors(TENNIS, AIR, release)})
    (still,) = in_still_air(setup, airs).figures("carry_m")
    # Standard air is 0.5 % thinner or thicker than that of the evening.
    assert still == pytest.approx(calm, rel=0.005)


@pytest.mark.parametrize(("along_mps", "uneven"), [(0.6, None), (-0.8, (0.8, 0.1 * 50**0.5))])
def test_winds_differ_where_they_do_by_more_than_is_known(
    along_mps: float, uneven: tuple[float, float] | None
) -> None:
    winds = (replace(AIR, wind_along_mps=each, wind_u_mps=0.5) for each in (0.0, along_mps))
    airs = {str(number): Outdoors(TENNIS, air) for number, air in enumerate(winds)}
    assert uneven_wind(airs) == (uneven and pytest.approx(uneven))
    assert uneven_wind({}) is None


def test_a_setup_without_a_shot_stays_without_one_in_still_air() -> None:
    nothing = SetupShots("a", (), (), (), ())
    assert not len(in_still_air(nothing, {}).figures("carry_m"))


def test_setups_of_an_evening_each_are_not_believed_without_a_word() -> None:
    said = "were shot on different evenings, and no setup on two of them"
    one, far = {"may": [28.9, 29.1, 29.4, 29.0]}, [33.0, 33.4, 32.9, 33.1]
    apart = sentences(compare([shot_on("a", one), shot_on("b", {"june": far})]))
    assert [line[:9] for line in apart if said in line] == ['"b" and "']
    for other in ({"may": far}, {"june": one["may"]}, {"may": far, "june": far}):
        words = " ".join(sentences(compare([shot_on("a", one), shot_on("b", other)])))
        assert said not in words
