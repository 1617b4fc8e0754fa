"""Setups against each other and against what was predicted."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tracker.comparison.compare import compare, shared_correlation, shots_more
from tracker.comparison.setups import SetupShots, summarise
from tracker.comparison.words import WORDINGS, decimals, remark_sentences, sentences, spread
from tracker.records import Quality, Reason, ReasonCode, Shot
from tracker.statistics.components import Estimate, difference
from tracker.statistics.landing import extreme_spread
from tracker.statistics.means import sample_of
from tracker.statistics.pairwise import pair_level, simultaneous
from tracker.statistics.power import planned_scatter, power_of_two

SMALL = (27.2, 28.1, 28.4, 27.6, 28.9)
MIDDLE = (34.1, 35.3, 33.2, 34.8, 33.9)
LARGE = (33.0, 35.9, 31.8, 34.6, 32.4)

UNSURE = Reason(ReasonCode.SPEED_UNCERTAIN)
"""A reason that leaves the carry to be compared."""


def row(
    setup: str,
    number: int,
    carry: float | None,
    u: float = 0.0,
    quality=Quality.GOOD,
    across=0.0,
    reasons=(),
) -> Shot:
    blank = dict.fromkeys(Shot.__dataclass_fields__)
    filled = {
        "clip": f"clips/{setup}.mp4", "setup": setup, "shot": number, "release_s": 3.0 * number,
        "carry_m": carry, "carry_u_m": u or None, "exit_speed_mps": 20.0, "exit_speed_u_mps": 0.1,
        "landing_along_m": carry, "landing_across_m": None if carry is None else across,
        "frames_seen": 60, "landing_seen": True, "quality": quality, "reasons": reasons,
    }  # fmt: skip
    return Shot(**{**blank, **filled})


def setup(name: str, carries, u: float = 0.0, occasion: str = "day one") -> SetupShots:
    shots = tuple(row(name, i + 1, c, u, across=0.1 * (-1) ** i) for i, c in enumerate(carries))
    return SetupShots(name, shots, (occasion,) * len(shots))


def three(u: float = 0.0) -> list[SetupShots]:
    return [setup("100 mm", SMALL, u), setup("140 mm", MIDDLE, u), setup("180 mm", LARGE, u)]


def test_without_shared_error_the_pairs_are_those_of_the_samples() -> None:
    found = compare(three())
    samples = [sample_of(v) for v in (SMALL, MIDDLE, LARGE)]
    places = ((0, 1), (0, 2), (1, 2))
    for contrast, (one, other) in zip(found.contrasts, places, strict=True):
        gap = difference(samples[one], samples[other], (0.0, 0.0), 0.0)
        pair = simultaneous(gap.value, gap.u, gap.dof, 3, 0.95)
        assert contrast.pair.difference == pytest.approx(abs(pair.difference), rel=1e-12)
        assert contrast.pair.half_width == pytest.approx(pair.half_width, rel=1e-12)
    assert [c.pair.significant for c in found.contrasts] == [True, True, False]


def test_the_words_give_the_answer_first() -> None:
    said = sentences(compare(three(0.3)))
    # The best is ahead of the next best by no more than scatter: that comes first.
    assert said[0].startswith('Between "140 mm" and "180 mm" five shots can\'t tell: 0.7 m ± ')
    assert "more each would, if that is the difference." in said[0]
    assert said[1].startswith('"140 mm" carries 6.2 m ± 1.6 m farther than "100 mm".')
    assert said[2].startswith('"180 mm" carries 5.5 m ± ')
    assert "all 3 pairs together with 95 % confidence (Tamhane, 1979)" in said[3]


def test_order_of_setups_changes_no_contrast() -> None:
    one, other = compare(three(0.2)), compare(three(0.2)[::-1])
    key = {(c.better, c.other): c for c in other.contrasts}
    for contrast in one.contrasts:
        twin = key[contrast.better, contrast.other]
        assert twin.pair.half_width == pytest.approx(contrast.pair.half_width)
        assert twin.more_shots == contrast.more_shots


def test_one_calibration_cancels_in_proportion_and_two_do_not() -> None:
    u = 0.6
    together = compare([setup("a", SMALL, u), setup("b", MIDDLE, u)])
    apart = compare([setup("a", SMALL, u), setup("b", MIDDLE, u, "day two")])
    assert together.contrasts[0].residue_u == pytest.approx(0.0, abs=1e-9)
    assert apart.contrasts[0].residue_u == pytest.approx(u * math.sqrt(2))
    assert apart.contrasts[0].pair.half_width > together.contrasts[0].pair.half_width
    a, b = (summarise(setup("x", SMALL, u, day), "carry_m") for day in ("one", "two"))
    assert shared_correlation(a, a) == pytest.approx(1.0)
    assert shared_correlation(a, b) == 0.0


def test_a_relative_error_leaves_its_share() -> None:
    """One percent of everything leaves one percent of the difference."""
    found = compare([setup("a", SMALL, 0.2804), setup("b", MIDDLE, 0.3426)])
    gap = found.contrasts[0].pair.difference
    assert found.contrasts[0].residue_u == pytest.approx(0.01 * gap, rel=1e-6)


def test_a_shared_error_stays_whole_in_a_mean_and_averages_over_outings() -> None:
    one = summarise(setup("a", SMALL, 0.6), "carry_m")
    assert one.shared_u == pytest.approx(0.6)
    assert one.mean.u == pytest.approx(math.hypot(sample_of(SMALL).u, 0.6))
    shots = setup("a", SMALL + SMALL, 0.6).shots
    both = summarise(SetupShots("a", shots, ("one",) * 5 + ("two",) * 5), "carry_m")
    assert both.shared_u == pytest.approx(0.6 / math.sqrt(2))


def test_the_next_shot_is_less_sure_than_the_mean() -> None:
    one = summarise(setup("a", SMALL, 0.3), "carry_m")
    assert one.next_shot.expanded() > one.mean.expanded()
    plain = summarise(setup("a", SMALL), "carry_m")
    sd = sample_of(SMALL).sd
    assert plain.next_shot.expanded() == pytest.approx(2.776445 * sd * math.sqrt(1.2), rel=1e-5)
    assert plain.scatter[0] < sd < plain.scatter[1]


def test_the_number_of_further_shots_is_the_least_that_does() -> None:
    (contrast,) = compare([setup("b", MIDDLE), setup("c", LARGE)]).contrasts
    more = contrast.more_shots
    scatters = tuple(planned_scatter(sample_of(v).sd, 5) for v in (MIDDLE, LARGE))
    gap = contrast.pair.difference
    assert power_of_two(gap, scatters, (5 + more, 5 + more), pair_level(2)) >= 0.8
    assert power_of_two(gap, scatters, (4 + more, 4 + more), pair_level(2)) < 0.8
    # More setups compared at one confidence ask for more shots of each.
    assert shots_more(2.0, scatters, (5, 5), 6, 0.0) > shots_more(2.0, scatters, (5, 5), 2, 0.0)
    assert shots_more(0.0, scatters, (5, 5), 2, 0.0) is None
    assert shots_more(1.0, scatters, (5, 5), 2, 5.0) is None


def test_an_outlier_is_reported_and_kept() -> None:
    found = compare([setup("140 mm", (*MIDDLE, 20.0)), setup("100 mm", SMALL)])
    summary = found.summary("140 mm")
    assert (summary.used, summary.outlier.shot) == (6, 6)
    assert summary.sample.mean == pytest.approx(np.mean([*MIDDLE, 20.0]))
    assert summary.outlier.mean_without == pytest.approx(np.mean(MIDDLE))
    said = " ".join(sentences(found))
    assert "Shot 6 of clips/140 mm.mp4 is an outlier" in said
    assert "It is kept" in said


def test_one_shot_no_shot_and_rejected_shots_are_reported() -> None:
    lost = SetupShots(
        "lost", (row("lost", 1, None), row("lost", 2, 30.0, quality=Quality.REJECTED)), ("d", "d")
    )
    doubtful = SetupShots(
        "doubtful",
        tuple(
            row(
                "doubtful",
                i,
                30.0 + i,
                quality=Quality.CHECK,
                reasons=(Reason(ReasonCode.SPEED_UNCERTAIN),),
            )
            for i in range(3)
        ),
        ("d",) * 3,
    )
    found = compare([setup("single", [30.0]), setup("none", []), lost, doubtful])
    assert found.contrasts == ()
    few, *said = sentences(found)
    assert few == 'The ± of "doubtful" is so wide because of three shots only: shoot two more.'
    assert said[0].startswith('"single" has one shot, 30.0 m: one shot shows no scatter')
    assert said[1] == '"none" has no shots: nothing is known of it yet.'
    why = "1 without this figure, 1 rejected"
    assert said[2] == f'"lost" has no shot whose carry counts ({why}): nothing is known of it yet.'
    assert said[3] == 'All 3 shots of "doubtful" are to be checked; for the carry they count.'
    assert remark_sentences(found, figures=False)[0].startswith('"single" has one shot: one shot')


@pytest.mark.parametrize(
    ("checked", "shots", "said"),
    [
        (1, 1, 'The shot of "lane" is to be checked; for the carry it counts.'),
        (1, 3, '1 of the shots of "lane" is to be checked; for the carry it counts.'),
        (2, 3, '2 of the shots of "lane" are to be checked; for the carry they count.'),
    ],
)
def test_shots_to_be_checked_are_counted_in_plain_words(checked: int, shots: int, said: str):
    doubt = {"quality": Quality.CHECK, "reasons": (Reason(ReasonCode.SPEED_UNCERTAIN),)}
    rows = tuple(
        row("lane", number, 30.0 + number, **(doubt if number < checked else {}))
        for number in range(shots)
    )
    assert remark_sentences(compare([SetupShots("lane", rows, ("d",) * shots)]))[-1] == said


@pytest.mark.parametrize("u", [0.0, -0.2, math.nan])
def test_an_uncertainty_that_is_none_gets_a_sentence(u: float) -> None:
    shots = [replace(row("odd", i, 30.0 + i), carry_u_m=u) for i in range(3)]
    said = sentences(compare([SetupShots("odd", tuple(shots), ("d",) * 3)]))
    assert (
        '3 of the shots of "odd" state an uncertainty of the carry that is zero, negative or no '
        "number: it is left out; measure the session again." in said
    )
    good = [replace(row("odd", i, 30.0 + i), carry_u_m=0.1) for i in range(3)]
    assert not any(
        "state an uncertainty" in one
        for one in sentences(compare([SetupShots("odd", tuple(good), ("d",) * 3)]))
    )


def test_agreement_with_a_prediction() -> None:
    predictions = {"140 mm": Estimate(34.0, 0.5), "100 mm": Estimate(40.0, 0.5)}
    found = compare(three(0.2), predictions=predictions)
    verdicts = {v.name: v for v in found.verdicts}
    assert set(verdicts) == set(predictions)
    near = verdicts["140 mm"]
    assert near.e_number.agrees
    spread_ = math.hypot(near.measured.expanded(), near.predicted.expanded())
    assert near.e_number.score == pytest.approx((np.mean(MIDDLE) - 34.0) / spread_)
    assert not verdicts["100 mm"].e_number.agrees
    said = [s for s in sentences(found) if "E_n" in s]
    assert "does not agree with the predicted one" in said[0]
    assert "agrees with the predicted one" in said[1]


def test_landing_of_a_setup() -> None:
    landing = summarise(setup("a", SMALL), "carry_m").landing
    assert landing.points.shape == (5, 2)
    assert landing.half.semi_axes[0] < landing.most.semi_axes[0]
    assert landing.extreme_spread_m == pytest.approx(
        max(np.hypot(*(p - q)) for p in landing.points for q in landing.points)
    )
    assert summarise(setup("a", SMALL[:2]), "carry_m").landing is None


def test_the_widest_two_of_very_many_landings_are_found_by_their_hull() -> None:
    points = np.random.default_rng(2).normal(size=(400, 2)) * (3.0, 1.0)
    every = np.linalg.norm(points[:, None] - points[None], axis=2).max()
    assert extreme_spread(points) == pytest.approx(every, rel=1e-12)
    assert extreme_spread(np.tile(points[:2], (300, 1))) == pytest.approx(
        np.linalg.norm(points[0] - points[1])
    )


def test_every_quantity_can_be_spoken_of() -> None:
    for quantity, wording in WORDINGS.items():
        assert quantity in Shot.__dataclass_fields__
        assert wording.unit
        assert sentences(compare([], quantity)) == []


@pytest.mark.parametrize(
    ("value", "half", "said"),
    [
        (6.13, 1.44, "6.1 m ± 1.4 m"), (6.13, 0.144, "6.13 m ± 0.14 m"),
        (61.3, 14.4, "61 m ± 14 m"), (5.0, 0.0, "5.00 m ± 0.00 m"),
    ],
)  # fmt: skip
def test_rounding(value: float, half: float, said: str) -> None:
    assert spread(value, half, "m") == said
    assert decimals(math.inf) == 2
