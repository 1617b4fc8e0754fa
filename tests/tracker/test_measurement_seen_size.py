"""The widths of a ball along its flight, summed up with what spoils one of them and all."""

from types import SimpleNamespace

import numpy as np
import pytest

from tracker.fitting.observations import SeenSizes
from tracker.measurement.starts import seen_size
from tracker.measurement.starts.seen_size import (
    COMMON_U,
    HIDDEN_PX,
    LEAST_NEAR_PX,
    PART_U,
    Widths,
    size_shows_ball,
    summed_up,
)


def widths(count: int, px: float = 8.0, spread: float = 0.0) -> Widths:
    signs = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    return Widths(np.linspace(1.0, 2.0, count), np.log(px) + spread * signs)


@pytest.mark.parametrize(("count", "parts"), [(6, 2), (11, 3), (15, 5), (60, 5)])
def test_three_pictures_and_more_make_each_of_five_parts(count, parts):
    found = summed_up(widths(count))
    assert found is not None
    assert len(found.times_s) == len(found.log_px) == len(found.covariance) == parts
    assert found.log_px == pytest.approx(np.log(8.0 + HIDDEN_PX))
    assert found.times_s[0] > 1.0 and np.all(np.diff(found.times_s) > 0.0)


def test_too_few_pictures_or_too_small_a_ball_say_nothing():
    assert summed_up(widths(5)) is None
    assert summed_up(widths(20, px=3.9)) is None
    assert summed_up(widths(20, px=4.1)) is not None
    assert summed_up(widths(20, px=2.4), LEAST_NEAR_PX) is None
    assert summed_up(widths(20, px=2.6), LEAST_NEAR_PX) is not None


@pytest.mark.parametrize(("is_near", "shown"), [(True, True), (False, False)])
def test_pictures_made_smaller_are_sharper(monkeypatch, is_near, shown):
    """A ball of three pixels as filmed may be a smaller one that lens and encoder blur."""
    flat = widths(20, px=3.0)
    monkeypatch.setattr(seen_size, "course_along", lambda *given: (given[2], "course"))
    monkeypatch.setattr(seen_size, "widths", lambda *given: (flat.times_s, flat.log_px))
    context = SimpleNamespace(with_circumstances=lambda known: known)
    flight = SimpleNamespace(known=None, camera=None)
    ends = SimpleNamespace(first_s=1.0, last_s=2.0, exposure=0.1)
    found = seen_size.sizes_along(is_near, flight, context, [], ends)
    assert (found is not None) is shown


def test_what_is_common_to_all_pictures_never_averages_out():
    found = summed_up(widths(400))
    assert found is not None
    mean_u = np.sqrt(np.ones(5) @ found.covariance @ np.ones(5)) / 5.0
    common_u = np.hypot(COMMON_U, 0.4 / 8.0)
    assert mean_u == pytest.approx(np.hypot(common_u, PART_U / np.sqrt(5.0)))


def test_scatter_of_the_pictures_widens_their_part():
    even, uneven = (summed_up(widths(60, spread=spread)) for spread in (0.0, 0.5))
    assert even is not None and uneven is not None
    added = np.diag(uneven.covariance) - np.diag(even.covariance)
    # The middle of values that lie 0.5 to either side has a spread of 1.48 times 0.5 over root 12.
    assert added == pytest.approx((1.4826 * 0.5) ** 2 / 12.0, rel=0.02)


def test_one_wrong_picture_in_three_moves_no_part():
    seen = widths(60)
    seen.log_px[::3] += 1.0
    found = summed_up(seen)
    assert found is not None and found.log_px == pytest.approx(np.log(8.0 + HIDDEN_PX))


@pytest.mark.parametrize(
    ("fall_u", "apart", "shown"),
    [(0.1, 0.0, True), (0.1, 0.25, True), (0.1, 0.35, False), (0.1, -0.35, False),
     (0.19, 0.0, True), (0.21, 0.0, False)],
)  # fmt: skip
def test_a_ball_is_as_wide_as_its_fall_alone_says(monkeypatch, fall_u, apart, shown):
    """A fall that gives the width to 0.1 beside widths that give it to 0.1: 0.28 is two u apart."""
    widths_u = 0.1
    covariance = 1e-6 * np.eye(3) + widths_u**2
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    # Both together lie between, each weighed by its information.
    share = widths_u**2 / (widths_u**2 + fall_u**2)
    both = (fall_u * widths_u) ** 2 / (fall_u**2 + widths_u**2)

    def rows(known, at, trajectory, sizes):
        return root @ np.full(3, share * apart), root @ np.ones((3, 1))

    monkeypatch.setattr(seen_size, "size_rows", rows)
    fitted = SimpleNamespace(parameters=None, trajectory=None, covariance=np.array([[both]]))
    sizes = SeenSizes(np.arange(3.0), np.zeros(3), covariance)
    flight = SimpleNamespace(sizes=sizes, known=None, fitted=fitted)
    assert size_shows_ball(flight) is shown
    flight.sizes = None
    assert size_shows_ball(flight) is False


def test_a_hand_at_the_end_is_no_part_of_the_ball():
    seen = widths(40)
    seen.log_px[-8:] += 0.6
    found = summed_up(seen)
    assert found is not None and found.log_px == pytest.approx(np.log(8.0 + HIDDEN_PX))
    assert found.times_s[-1] < seen.times_s[-8]
