"""Drift of the exit speed within a clip."""

import numpy as np
import pytest
from scipy.stats import linregress

from tests.tracker.invented_outings import shots_of
from tracker.comparison.drift import drift_of, drift_sentences
from tracker.comparison.setups import SetupShots


def setup(speeds: list[list[float]]) -> SetupShots:
    """Shots of some clips, the later ones first in the file."""
    from dataclasses import replace

    base = shots_of("140 mm wheels", 1)[0]
    rows = [
        replace(base, clip=f"{clip}.mp4", release_s=10.0 * place, exit_speed_mps=speed)
        for clip, row in enumerate(speeds)
        for place, speed in enumerate(row)
    ]
    return SetupShots("140 mm wheels", tuple(rows[::-1]), ("fen",) * len(rows))


def test_one_clip_is_a_regression_of_the_logarithm() -> None:
    draw = np.random.default_rng(3)
    speeds = 25.0 * np.exp(-0.004 * np.arange(9) + 0.01 * draw.normal(size=9))
    found, want = drift_of(setup([list(speeds)])), linregress(np.arange(9), np.log(speeds))
    assert found.per_shot.value == pytest.approx(want.slope, rel=1e-9)
    assert found.per_shot.u == pytest.approx(want.stderr, rel=1e-9)
    assert found.per_shot.dof == 7


def test_clips_have_heights_of_their_own() -> None:
    """Two clips that differ by a tenth, each falling by 1 % a shot."""
    fall = np.exp(-0.01 * np.arange(5))
    found = drift_of(setup([list(25.0 * fall), list(27.5 * fall), [20.0, 30.0]]))
    assert found.per_shot.value == pytest.approx(-0.01, abs=1e-9)
    assert (found.shots, found.per_shot.dof) == (10, 7)
    assert drift_of(setup([[25.0, 24.0, 23.0]])) is None


@pytest.mark.campaign
def test_chance_alone_is_called_a_drift_in_five_of_a_hundred() -> None:
    draw, hits, trials = np.random.default_rng(5), 0, 400
    for _ in range(trials):
        found = drift_of(setup([list(25.0 + 0.3 * draw.normal(size=5))]))
        low, high = found.per_shot.interval()
        hits += low > 0.0 or high < 0.0
    assert 0.025 < hits / trials < 0.08


def test_a_drift_is_compared_with_the_battery() -> None:
    draw = np.random.default_rng(7)
    speeds = 25.0 * np.exp(-0.01 * np.arange(10) + 0.003 * draw.normal(size=10))
    found = [drift_of(setup([list(speeds)]))]
    (alone,) = drift_sentences(found, {})
    assert 'The exit speed of "140 mm wheels" falls by 1.0' in alone
    assert "capacity_ah" in alone
    (explained,) = drift_sentences(found, {"140 mm wheels": -0.0101})
    assert explained.endswith("sag is 1 %, which explains it.")
    (odd,) = drift_sentences(found, {"140 mm wheels": -0.0005})
    assert "0.05 %, which does not explain it" in odd
    steady = [drift_of(setup([[25.0, 25.01, 24.99, 25.0, 24.99, 25.01, 25.0, 25.01, 24.99, 25.0]]))]
    assert drift_sentences(steady, {"140 mm wheels": 0.0}) == []
    (kept,) = drift_sentences(steady, {"140 mm wheels": -0.005})
    assert "keeps its height over 10 shots" in kept
    many = drift_sentences([*found, *steady, *steady], {})
    assert len(many) == 1
