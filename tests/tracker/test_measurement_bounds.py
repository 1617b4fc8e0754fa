"""What stands just inside a bound of the measurement is accepted, what stands outside is not."""

from types import SimpleNamespace

import numpy as np
import pytest

from calibration.adjustment import NotDetermined
from tests.tracker.clip_context import clip_context
from tests.tracker.fitting_case import FRAME_S, SIZE_PX, calibrated, circumstances, drawn
from tracker.fitting import figures_of
from tracker.fitting.parameters import LAUNCH_AT
from tracker.following.arcs import fit_arc
from tracker.measurement import hop_fit, row
from tracker.measurement.flight import Beginning
from tracker.measurement.starts import diagnosis, field, throw_rules
from tracker.measurement.starts.untaped_start import UntapedStart
from tracker.measurement.throws import Throw, _Joining, _Joint
from tracker.records import ReasonCode

KNOWN = circumstances(calibrated())
CONTEXT = clip_context(KNOWN)


@pytest.mark.parametrize(
    ("snr", "scale", "ragged"),
    [(9.6, 2.6, True), (10.2, 2.6, False), (9.6, 2.4, False), (4.0, 3.0, True)],
)
def test_a_faint_ball_may_not_scatter_as_a_clear_one_may(snr, scale, ragged):
    shot = SimpleNamespace(
        shot=SimpleNamespace(frames_seen=40, exit_speed_mps=19.0, exit_speed_u_mps=0.3)
    )
    track = SimpleNamespace(snr=np.full(40, snr))
    fitted = SimpleNamespace(used=np.ones(40, bool), scale=scale)
    traced = SimpleNamespace(fitted=fitted, in_view=40, observed=SimpleNamespace(track=track))
    found = throw_rules.hardly_seen(shot, traced)
    assert (found is not None and found.code is ReasonCode.RAGGED) is ragged


@pytest.mark.parametrize(("azimuth_deg", "backward"), [(89.5, False), (90.5, True), (-90.5, True)])
def test_a_flight_across_the_firing_line_is_not_yet_a_backward_one(azimuth_deg, backward):
    turn = np.radians(azimuth_deg)
    launch = np.zeros(11)
    launch[:3] = KNOWN.release_m
    launch[3:6] = 10.0 * np.cos(turn), 10.0 * np.sin(turn), 9.0
    count = len(KNOWN.prior_mean())
    flight = SimpleNamespace(launch=launch, fitted=SimpleNamespace(covariance=0.01 * np.eye(count)))
    found = diagnosis._where(flight, CONTEXT)
    assert (found is not None and found.code is ReasonCode.FLIES_BACKWARD) is backward


def test_a_path_that_rises_ever_faster_is_tried_in_front_of_the_camera_only(monkeypatch):
    """Gravity seen upside down gives no distance: never one behind the camera."""
    times = np.arange(24) * FRAME_S
    rows = [np.arange(24), times, 700.0 + 600.0 * times, 600.0 - 100.0 * times - 900.0 * times**2]
    arc = fit_arc(np.column_stack(rows), FRAME_S)
    assert arc.acceleration_pxps2[1] < 0.0
    tried = []

    def noted(known, track, began_s, away_m):
        tried.append(away_m)
        raise NotDetermined("not here")

    monkeypatch.setattr(field, "_first_launch", noted)
    ground = field.field_of([(0.0, -3.0, 0.0), (30.0, 3.0, 0.0)])
    with pytest.raises(NotDetermined):
        field.first_fit(CONTEXT, ground, Throw(arc, None), Beginning(0.0, 0.05), FRAME_S)
    assert len(tried) == len(field.GUESSES) and min(tried) > 0.0


@pytest.fixture(scope="module")
def traced():
    case = drawn(np.random.default_rng(3), KNOWN)
    return SimpleNamespace(fitted=case.fit())


def test_a_path_goes_to_the_landing_or_else_to_the_end_of_what_was_fitted(traced):
    figures = figures_of(KNOWN, traced.fitted.parameters)
    began_s = traced.fitted.parameters[0]
    landed = row._path(CONTEXT, traced, figures)
    assert landed.times_s[-1] - began_s == pytest.approx(figures.value("flight_time_s"))
    unknown = SimpleNamespace(value=lambda name: np.nan)
    cut = row._path(CONTEXT, traced, unknown)
    assert cut.times_s[-1] - began_s == pytest.approx(traced.fitted.trajectory.times_s[-1])
    assert cut.times_s[0] == landed.times_s[0] == pytest.approx(began_s)
    np.testing.assert_allclose(cut.points_m[0], traced.fitted.parameters[LAUNCH_AT][:3], atol=1e-6)


def later(turned_up):
    """Return a path, and another from its end that is reversed along and slower down by so much."""
    frames = np.arange(30)
    times = frames * FRAME_S
    before = np.column_stack([frames, times, 300.0 + 700.0 * times, 200.0 + 400.0 * times**2])
    since = times - times[-1]
    down = 800.0 * times[-1]
    place = before[-1, 2:]
    after = np.column_stack(
        [
            frames + 29,
            times + times[-1],
            place[0] - 500.0 * times,
            place[1] + (down - turned_up) * times + 400.0 * times**2,
        ]
    )
    assert since[-1] == 0.0
    return fit_arc(before, FRAME_S), fit_arc(after, FRAME_S)


@pytest.mark.parametrize(
    ("turned_up", "joint"), [(150.0, _Joint.HOP), (0.5, _Joint.HOP), (-20.0, _Joint.NOT)]
)
def test_a_hop_turns_a_falling_ball_up_and_never_down(turned_up, joint):
    one, other = later(turned_up)
    joining = _Joining({0: one, 1: other}, [0], SIZE_PX[0], FRAME_S)
    assert joining._joint(one, other) is joint


def test_a_hop_is_measured_along_what_was_found_and_again_along_what_was_fitted(monkeypatch):
    along, measured = [], []
    fitted = SimpleNamespace(state=np.array([1.01, 0.5, 0.6, 0.1]))

    def course(context, landing, state, frames):
        along.append(state)
        return frames, None

    def sighted(*given):
        measured.append(given)
        return SimpleNamespace(frames=np.arange(9)), None

    monkeypatch.setattr(hop_fit, "_course", course)
    monkeypatch.setattr(hop_fit, "sighted", sighted)
    monkeypatch.setattr(hop_fit, "fit_hop", lambda *_: fitted)
    monkeypatch.setattr(hop_fit, "measured_hop", lambda fit, landing, hop: fit)
    hop = SimpleNamespace(time_s=1.0, restitution=0.6, speed_kept=0.7, sideways_mps=0.0)
    light = (None, np.zeros(2))
    assert hop_fit.measure_hop(CONTEXT, None, hop, list(range(9)), light) is fitted
    np.testing.assert_array_equal(along, [[1.0, 0.6, 0.7, 0.0], fitted.state])
    assert len(measured) == 2
    # Too few frames are none at all.
    assert hop_fit.measure_hop(CONTEXT, None, hop, list(range(3)), light) is None
    assert len(measured) == 2


def test_a_ball_seen_clearly_was_not_released_long_before():
    start = UntapedStart(SimpleNamespace(picked=()), True)
    begun = [
        start.loosened(KNOWN, KNOWN.camera, 1.0, FRAME_S, *faint).began_u_s
        for faint in ((), (False,), (True,))
    ]
    assert begun[0] == begun[1] < 0.6 * begun[2]
