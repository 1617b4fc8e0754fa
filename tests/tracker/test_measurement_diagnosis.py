"""A clip without a shot: the likeliest of what was written wrongly is named."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest

from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, SIZE_PX, calibrated, circumstances, positions
from tracker.fitting.parameters import VELOCITY_AT
from tracker.following.arcs import fit_arc
from tracker.measurement.context import ClipContext
from tracker.measurement.passes import NO_OBSERVERS, Timing
from tracker.measurement.scouting import Scouted
from tracker.measurement.starts import diagnosis
from tracker.measurement.starts.diagnosis import causes_of_no_shot, likeliest
from tracker.measurement.starts.field import field_of
from tracker.measurement.starts.hypotheses import Hypothesis, hypotheses, scaled_circumstances
from tracker.measurement.throws import Throw
from tracker.records import Reason, ReasonCode

KNOWN = circumstances(calibrated())
FIELD = field_of([(0, 0, 0), (30, 0, 0), (20, 6, 0)])
EVERY = 2


def path(known=KNOWN, azimuth_deg: float = 0.0, start_m=(0.0, 0.0, 0.8), speed=16.0) -> Throw:
    """The path of the first pass of a drawn flight."""
    truth = known.prior_mean()
    truth[0], truth[1:4] = 0.5, start_m
    turn, angle = np.radians([azimuth_deg, 42.0])
    truth[VELOCITY_AT] = speed * np.array(
        [np.cos(angle) * np.cos(turn), np.cos(angle) * np.sin(turn), np.sin(angle)]
    )
    track = positions(np.random.default_rng(3), known, truth).track
    rows = np.column_stack([track.frames, track.times_s, track.pixels])
    rows[:, 2:] += np.random.default_rng(4).normal(0.0, 0.4, (len(rows), 2))
    return Throw(fit_arc(rows[::EVERY], EVERY * FRAME_S), None)


def cause(throw: Throw, known=KNOWN) -> Reason | None:
    found = likeliest(clip_context(known), FIELD, throw, EVERY * FRAME_S)
    return None if found is None else found[1]


def test_units_scale_lengths_speeds_and_accelerations() -> None:
    scaled = scaled_circumstances(KNOWN, Hypothesis(None, unit_m=0.5, slower=4.0))
    assert scaled.forces.gravity_mps2 == pytest.approx(KNOWN.forces.gravity_mps2 / 0.5 / 16.0)
    assert scaled.forces.reach_per_m == pytest.approx(0.5 * KNOWN.forces.reach_per_m)
    assert scaled.ball_radius_m == pytest.approx(2.0 * KNOWN.ball_radius_m)
    assert scaled.wind_u_mps == pytest.approx(KNOWN.wind_u_mps / 2.0)
    assert scaled.readout_s == pytest.approx(4.0 * KNOWN.readout_s)


def test_only_rates_well_above_the_stated_one_are_tried() -> None:
    rates = [
        each.reason.numbers["rate_fps"]
        for each in hypotheses(clip_context(KNOWN))
        if each.reason is not None and each.reason.code is ReasonCode.PLAYS_SLOWLY
    ]
    assert rates == [240.0, 480.0, 960.0]


def test_markers_taped_in_feet_are_named() -> None:
    """A true flight as it lies in a frame whose metres are feet."""
    feet = scaled_circumstances(KNOWN, Hypothesis(None, unit_m=0.3048))
    found = cause(path(feet, speed=30.0))
    assert found is not None and found.code is ReasonCode.TAPED_IN_FEET


@pytest.mark.campaign
def test_slow_motion_that_was_not_stated_is_named_with_its_rate() -> None:
    slow = scaled_circumstances(KNOWN, Hypothesis(None, slower=2.0))
    found = cause(path(slow, speed=8.0))
    assert found is not None and found.code is ReasonCode.PLAYS_SLOWLY
    assert found.numbers == {"rate_fps": 240.0, "assumed_fps": pytest.approx(120.0)}


@pytest.mark.campaign
def test_shots_against_the_firing_line_are_named() -> None:
    found = cause(path(azimuth_deg=178.0, start_m=(26.0, 0.0, 0.8)))
    assert found is not None and found.code is ReasonCode.FLIES_BACKWARD
    assert found.numbers["along"] == pytest.approx(26.0, abs=4.0)


@pytest.mark.campaign
def test_a_release_elsewhere_is_named_with_its_place() -> None:
    found = cause(path(start_m=(7.0, 0.5, 0.9)))
    assert found is not None and found.code is ReasonCode.RELEASE_ELSEWHERE
    assert found.numbers["along"] == pytest.approx(7.0, abs=3.0 * found.numbers["along_u"])


@pytest.mark.campaign
def test_a_release_height_in_other_units_is_named() -> None:
    known = replace(KNOWN, release_m=np.array([0.0, 0.0, 80.0]))
    found = cause(path(), known)
    assert found is not None and found.code is ReasonCode.RELEASE_HEIGHT
    assert found.numbers["up"] == pytest.approx(0.8, abs=1.0)
    assert found.numbers["height_m"] == 80.0


@pytest.mark.campaign
def test_what_is_written_correctly_has_no_cause() -> None:
    assert cause(path()) is None


def scouted(*throws: Throw) -> Scouted:
    arcs = tuple(throw.arc for throw in throws)
    times = Timing(np.arange(9.0), np.arange(9.0))
    return Scouted(arcs, tuple(range(len(arcs))), (), EVERY * FRAME_S, times, "", (), ())


@dataclass(frozen=True)
class Paced:
    """What the search for a cause asks of a clip's facts."""

    pace: float
    size_px: tuple[int, int] = SIZE_PX


def paced(context: ClipContext) -> ClipContext:
    return replace(context, facts=Paced(1.5))  # type: ignore[arg-type]


def test_a_clip_in_which_nothing_falls_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(diagnosis, "scout_together", lambda *_, **__: (scouted(), scouted()))
    (found,) = causes_of_no_shot(paced(clip_context(KNOWN)), FIELD, NO_OBSERVERS)
    assert found.code is ReasonCode.NOTHING_FALLS


def test_a_clip_of_a_few_frames_a_second_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    rare = replace(scouted(), frame_s=0.4)
    monkeypatch.setattr(diagnosis, "scout_together", lambda *_, **__: (rare, rare))
    (found,) = causes_of_no_shot(paced(clip_context(KNOWN)), FIELD, NO_OBSERVERS)
    assert found.code is ReasonCode.FRAMES_FAR_APART and found.numbers["apart_s"] == 0.4


def test_a_clip_that_can_hardly_be_read_says_so_before_all_else(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    spoilt = replace(scouted(path()), sound_share=0.2)
    monkeypatch.setattr(diagnosis, "scout_together", lambda *_, **__: (spoilt, spoilt))
    (found,) = causes_of_no_shot(paced(clip_context(KNOWN)), FIELD, NO_OBSERVERS)
    assert found == Reason(ReasonCode.FRAMES_UNREAD, {"percent": pytest.approx(80.0)})


def test_a_fall_that_nothing_explains_is_reported_with_its_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    throw = path()
    monkeypatch.setattr(diagnosis, "scout_together", lambda *_, **__: (scouted(throw), scouted()))
    monkeypatch.setattr(diagnosis, "candidates_of", lambda *_: [throw])
    monkeypatch.setattr(diagnosis, "likeliest", lambda *_: None)
    (found,) = causes_of_no_shot(paced(clip_context(KNOWN)), FIELD, NO_OBSERVERS)
    assert found.code is ReasonCode.FALLS_OTHERWISE
    assert found.numbers["release_s"] == pytest.approx(1.5 * float(throw.arc.times_s[0]))


def test_where_nothing_falls_the_clip_is_looked_atotherwise_paced_motion(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both paces are scouted at once; a path at life speed takes eight times as long."""
    throw, paces, tried = path(), [], []

    def both(clips: Sequence[Paced], *_: object, **__: object) -> tuple[Scouted, Scouted]:
        paces.extend(each.pace for each in clips)
        return scouted(), scouted(throw)

    def likeliest_of(_: object, __: object, found: Throw, frame_s: float, own: bool) -> None:
        tried.append((found, frame_s))

    monkeypatch.setattr(diagnosis, "scout_together", both)
    monkeypatch.setattr(diagnosis, "candidates_of", lambda of, _: [throw] if of.arcs else [])
    monkeypatch.setattr(diagnosis, "likeliest", likeliest_of)
    (cause,) = causes_of_no_shot(paced(clip_context(KNOWN)), FIELD, NO_OBSERVERS)
    ((found, frame_s),) = tried
    assert cause.code is ReasonCode.FALLS_OTHERWISE
    assert paces == [1.5, 12.0] and frame_s == pytest.approx(8.0 * EVERY * FRAME_S)
    assert found.arc.times_s == pytest.approx(8.0 * throw.arc.times_s)
    assert found.arc.acceleration_pxps2[1] == pytest.approx(
        throw.arc.acceleration_pxps2[1] / 64.0, rel=0.02
    )
