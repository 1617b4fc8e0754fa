"""A shot whose ends a person states, and a shot that a person adds by places of the ball."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from calibration.errors import InputError
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, Drawn, calibrated, circumstances, drawn
from tracker.fitting import Observations, fit_flight
from tracker.fitting.ends import GivenEnds, GivenPlace, GivenTime
from tracker.measurement import added
from tracker.measurement.added import Pick, Picks, add_shot
from tracker.measurement.by_hand import with_ends
from tracker.measurement.context import ClipContext
from tracker.measurement.fitted_shot import FittedShot, TracedFlight, doubted, numbered
from tracker.measurement.row import describe
from tracker.records import Quality, Reason, ReasonCode, Rejection

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)


@pytest.fixture(scope="module")
def case() -> Drawn:
    return drawn(np.random.default_rng(7), KNOWN, wrong=False)


@pytest.fixture(scope="module")
def extrapolated(case: Drawn) -> FittedShot:
    """A shot of which only the first two thirds were seen."""
    count = 2 * len(case.track.times_s) // 3
    observed = case.observed.part(np.arange(len(case.track.times_s)) < count)
    return numbered(shot_of(case, observed), 3)


def shot_of(case: Drawn, observed: Observations) -> FittedShot:
    fitted = fit_flight(KNOWN, observed, case.truth[0], case.truth[1:12])
    return describe(CONTEXT, TracedFlight(observed, fitted, len(observed.track.times_s)))


def codes(shot: FittedShot) -> list[ReasonCode]:
    return [reason.code for reason in shot.shot.reasons]


def place(shot: FittedShot, by_m: float = 0.0, u: float = 0.05) -> GivenEnds:
    row = shot.shot
    assert row.landing_along_m is not None and row.landing_across_m is not None
    return GivenEnds(landing_m=GivenPlace((row.landing_along_m + by_m, row.landing_across_m), u))


def test_a_given_landing_is_a_seen_one_with_its_own_uncertainty(extrapolated: FittedShot) -> None:
    assert codes(extrapolated) == [ReasonCode.LANDING_NOT_SEEN]
    moved = with_ends(extrapolated, place(extrapolated, u=0.03), None)
    assert codes(moved) == [ReasonCode.LANDING_BY_HAND]
    assert moved.shot.quality is Quality.GOOD and moved.shot.landing_seen
    assert moved.shot.shot == 3 and {point.shot for point in moved.points} == {3}
    before, after = extrapolated.shot.carry_u_m, moved.shot.carry_u_m
    assert before is not None and after is not None and after < 0.6 * before
    assert after == pytest.approx((before**-2 + 0.03**-2) ** -0.5, rel=0.2)
    assert moved.budget is not None
    parts = moved.budget.parts["carry_m"].values()
    assert np.sqrt(sum(part**2 for part in parts)) == pytest.approx(after, rel=1e-3)


def test_a_second_statement_replaces_the_first(extrapolated: FittedShot) -> None:
    once = with_ends(extrapolated, place(extrapolated, 0.1), None)
    again = with_ends(
        with_ends(extrapolated, place(extrapolated, -0.3), None), place(extrapolated, 0.1), None
    )
    assert again.shot.carry_m == pytest.approx(once.shot.carry_m, abs=1e-6)
    assert codes(again) == codes(once)


@pytest.mark.campaign
def test_a_landing_far_from_the_film_is_doubted(extrapolated: FittedShot) -> None:
    moved = with_ends(extrapolated, place(extrapolated, 3.0), None)
    assert codes(moved)[0] is ReasonCode.LANDING_BY_HAND
    assert ReasonCode.HAND_DISAGREES in codes(moved)
    assert moved.shot.quality is Quality.CHECK
    assert moved.shot.carry_m is not None and extrapolated.shot.carry_m is not None
    assert moved.shot.carry_m > extrapolated.shot.carry_m + 1.0


def test_what_no_fit_judges_stays(extrapolated: FittedShot) -> None:
    left_out = doubted(extrapolated, Reason(ReasonCode.MARKER_LEFT_OUT))
    moved = with_ends(left_out, place(extrapolated), None)
    assert codes(moved) == [ReasonCode.LANDING_BY_HAND, ReasonCode.MARKER_LEFT_OUT]
    assert moved.shot.quality is Quality.CHECK


def test_positions_after_a_given_landing_are_left_out(case: Drawn) -> None:
    whole = shot_of(case, replace(case.observed, landed_s=(float(case.track.times_s[-1]), 0.002)))
    assert whole.path is not None
    early = float(case.track.times_s[-1]) - 10.5 * FRAME_S
    moved = with_ends(whole, GivenEnds(), GivenTime(early, 0.002))
    assert len(moved.points) == len(whole.points) - 11
    assert max(point.time_s for point in moved.points) <= early
    assert ReasonCode.HAND_DISAGREES in codes(moved)


def test_a_given_release_moves_release_and_speed_together(case: Drawn) -> None:
    part = case.observed.part(np.arange(len(case.track.times_s)) > len(case.track.times_s) // 4)
    shot = shot_of(case, part)
    shot = replace(shot, shot=replace(shot.shot, release_s=shot.shot.release_s + 7.0))
    assert shot.path is not None
    begun = GivenTime(float(shot.path.times_s[0]) + 0.01, 1e-4)
    moved = with_ends(shot, GivenEnds(release_s=begun), None)
    assert codes(moved)[0] is ReasonCode.RELEASE_BY_HAND
    # The row keeps its own clock, here 7 s off.
    assert moved.shot.release_s == pytest.approx(shot.shot.release_s + 0.01, abs=1e-3)
    assert moved.shot.landing_seen == shot.shot.landing_seen


def test_a_row_without_figures_cannot_be_moved(extrapolated: FittedShot) -> None:
    with pytest.raises(ValueError, match="without figures"):
        with_ends(replace(extrapolated, basis=None), GivenEnds(), None)


def picks_of(case: Drawn, shares: tuple[float, ...], off_px: float = 0.0) -> Picks:
    rows = [int(share * (len(case.track.times_s) - 1)) for share in shares]
    places = [
        Pick(int(case.track.frames[row]), (float(column) + off_px * (-1) ** at, float(line)))
        for at, (row, (column, line)) in enumerate(
            zip(rows, case.track.pixels[rows].tolist(), strict=True)
        )
    ]
    return Picks(tuple(places), 2.0)


@pytest.fixture
def unseen(monkeypatch: pytest.MonkeyPatch, case: Drawn) -> ClipContext:
    """A clip in which the ball is not found anywhere."""
    times = 0.5 + 0.5 * FRAME_S + FRAME_S * np.arange(540)
    object.__setattr__(CONTEXT.facts, "path", "")
    monkeypatch.setattr(type(CONTEXT.facts), "times_s", property(lambda _: times))
    monkeypatch.setattr(added, "release_context", lambda *_: CONTEXT)
    monkeypatch.setattr(added, "candidates_of_part", lambda *_: [])
    monkeypatch.setattr(type(CONTEXT.facts), "file_times_s", times, raising=False)
    still = np.zeros((2, 2))
    monkeypatch.setattr(
        added, "still_pixels", lambda _, at: {k: (np.array(v), still) for k, v in at.items()}
    )
    return CONTEXT


def test_places_of_a_camera_that_moved_are_taken_where_it_stood(
    unseen: ClipContext, case: Drawn, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = picks_of(case, (0.2, 0.6))
    moved = {pick.frame: (9.0 + i, -5.0) for i, pick in enumerate(shown.places)}
    filmed = Picks(
        tuple(Pick(at.frame, tuple(np.add(at.pixel, moved[at.frame]))) for at in shown.places), 2.0
    )
    spans = []

    def back(loop, pixels):
        spans.append(loop.span)
        wide = 0.25 * np.eye(2)
        return {k: (np.subtract(pixel, moved[k]), wide) for k, pixel in pixels.items()}

    plain = add_shot(unseen.facts, KNOWN.camera, unseen.request, shown).shot
    monkeypatch.setattr(added, "still_pixels", back)
    found = add_shot(unseen.facts, KNOWN.camera, unseen.request, filmed).shot
    assert spans == [(shown.places[0].frame, shown.places[-1].frame)]
    assert found.carry_m == pytest.approx(plain.carry_m, abs=1e-3)
    # The correction is uncertain too.
    assert found.carry_u_m > plain.carry_u_m


def test_places_of_an_unseen_ball_give_an_honest_row(unseen: ClipContext, case: Drawn) -> None:
    truly = shot_of(case, case.observed).shot
    shot = add_shot(unseen.facts, KNOWN.camera, unseen.request, picks_of(case, (0.2, 0.6)))
    assert codes(shot)[0] is ReasonCode.ADDED_BY_HAND
    assert ReasonCode.FEW_FRAMES in codes(shot) and shot.shot.quality is Quality.CHECK
    for name in ("exit_speed_mps", "carry_m", "apex_m"):
        stem, unit = name.rsplit("_", 1)
        value, u, true = (
            getattr(shot.shot, name),
            getattr(shot.shot, f"{stem}_u_{unit}"),
            getattr(truly, name),
        )
        assert abs(value - true) < 3.0 * u
    two = shot.shot.exit_speed_u_mps
    four = add_shot(
        unseen.facts, KNOWN.camera, unseen.request, picks_of(case, (0.1, 0.3, 0.6, 0.9))
    ).shot.exit_speed_u_mps
    assert two is not None and four is not None and truly.exit_speed_u_mps is not None
    assert truly.exit_speed_u_mps < four < two


def test_a_ball_that_is_found_is_measured_as_any_other(
    unseen: ClipContext, case: Drawn, monkeypatch: pytest.MonkeyPatch
) -> None:
    fitted = case.fit()
    traced = TracedFlight(case.observed, fitted, len(case.track.times_s))
    monkeypatch.setattr(added, "trace", lambda *_: traced)
    shot = add_shot(unseen.facts, KNOWN.camera, unseen.request, picks_of(case, (0.2, 0.6)))
    assert shot.shot.frames_seen == len(case.track.times_s)
    assert codes(shot)[0] is ReasonCode.ADDED_BY_HAND
    assert shot.shot.quality is Quality.GOOD


BAD = {
    "one place": ((0.3,), 0.0, "two places"),
    "one frame": ((0.3, 0.3), 0.0, "different frames"),
    "no flight": ((0.2, 0.21), 400.0, "before the bounce"),
}


@pytest.mark.parametrize("name", BAD)
def test_places_of_no_flight_are_refused(unseen: ClipContext, case: Drawn, name: str) -> None:
    shares, off_px, words = BAD[name]
    with pytest.raises(InputError, match=words):
        add_shot(unseen.facts, KNOWN.camera, unseen.request, picks_of(case, shares, off_px))


@pytest.mark.parametrize("error", [Rejection(Reason(ReasonCode.OUT_OF_FRAME)), NotDetermined("x")])
def test_a_search_that_fails_leaves_the_places(
    unseen: ClipContext, case: Drawn, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fails(*_: object) -> TracedFlight:
        raise error

    monkeypatch.setattr(added, "trace", fails)
    shot = add_shot(unseen.facts, KNOWN.camera, unseen.request, picks_of(case, (0.2, 0.6)))
    assert shot.shot.frames_seen == 2


@pytest.mark.parametrize(
    "error",
    [
        Rejection(Reason(ReasonCode.OUT_OF_FRAME)),
        NotDetermined("x"),
        ZeroDivisionError("x"),
        ValueError("x"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_places_that_fix_no_flight_ask_for_one_more(
    unseen: ClipContext, case: Drawn, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fails(*_: object) -> None:
        raise error

    monkeypatch.setattr(added, "fit_given_gusts", fails)
    with pytest.raises(InputError, match="the places fix no flight") as caught:
        add_shot(unseen.facts, KNOWN.camera, unseen.request, picks_of(case, (0.2, 0.6)))
    assert "pick one more place of the ball" in str(caught.value)


def test_a_path_is_shown_from_its_release_over_its_top_to_its_landing(case: Drawn) -> None:
    found = shot_of(case, case.observed)
    row, path = found.shot, found.path
    assert path is not None
    assert np.array_equal(path.release_px, path.pixels[0])
    assert np.array_equal(path.landing_px, path.pixels[-1])
    assert path.points_m[-1] == pytest.approx(
        [row.landing_along_m, row.landing_across_m, KNOWN.ball_radius_m], abs=1e-3
    )
    assert np.ptp(path.times_s) == pytest.approx(row.flight_time_s)
    # Rows count downward: nowhere is the path higher than at its apex.
    assert path.apex_px[1] <= path.pixels[:, 1].min() + 0.05
    nearest = np.linalg.norm(path.pixels - path.apex_px, axis=1).argmin()
    assert path.points_m[nearest, 2] == pytest.approx(row.apex_m, abs=0.02)
