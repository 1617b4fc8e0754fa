import numpy as np
import pytest

from calibration.errors import InputError
from tests.published.flight_cases import REACH, TENNIS
from tracker.flight.coefficients import Constant, FeltLift, SmoothSphereDrag
from tracker.flight.events import crossing
from tracker.flight.forces import Drag, Flow, Lift, Spin, Weight, Wind
from tracker.flight.propagation import propagate
from tracker.flight.trajectory import fly

START = [0.0, 0.0, 0.8, 17.0, 0.6, 9.0]


def forces(spin=(0.0, 0.0, 0.0), wind=None, fades_in_s=np.inf, lift=None):
    flow = Flow(REACH, 0.0335, Spin(spin, fades_in_s), wind or Wind())
    return (Weight(), Drag(flow, Constant(0.53)), Lift(flow, lift or Constant(0.1)))


def test_both_integrators_agree_along_the_whole_flight():
    launch = [*START, 0.53, 0.08, -0.06, 1.5, -0.8]
    general = propagate(
        START, forces((0.0, -80.0, -60.0), Wind(1.5, -0.8)), ground_m=0.0335
    ).trajectory
    fitted = fly(launch, TENNIS, 3.0, 0.005)
    times = np.linspace(0.0, general.times_s[-1], 200)
    assert np.abs(general.at(times) - fitted.at(times)).max() < 1e-8


def test_landing_ends_the_flight():
    found = propagate(START, forces())
    assert found.trajectory.times_s[-1] == found.landing.time_s
    assert found.landing.state[2] == pytest.approx(0.0, abs=1e-12)
    higher = crossing(found.trajectory, 1.0)
    assert higher.time_s < found.landing.time_s


def test_time_that_is_too_short_for_a_landing():
    found = propagate(START, forces(), duration_s=0.3)
    assert found.landing is None
    assert found.apex is None
    assert found.trajectory.times_s[-1] == 0.3


def test_falling_from_the_start_has_its_apex_there():
    found = propagate([0, 0, 2, 5, 0, -1], forces())
    assert found.apex.time_s == 0.0
    assert found.landing.time_s > 0.1


def test_a_short_hop_is_not_overlooked():
    found = propagate([0, 0, 0, 1, 0, 0.05], forces())
    assert found.landing.time_s == pytest.approx(2 * 0.05 / 9.80665, rel=1e-3)


@pytest.mark.parametrize("state", [[0, 0, -1, 1, 0, 1], [0, 0, 0, 1, 0, -1], [0, 0, 0, 1, 0, 0]])
def test_starting_in_the_ground_is_refused(state):
    with pytest.raises(ValueError, match="ground"):
        propagate(state, forces())


def test_wind_slackens_to_nothing_at_the_roughness_length():
    wind = Wind(4.0, -2.0, roughness_m=0.03, measured_at_m=2.0)
    assert wind.at(2.0) == pytest.approx([4.0, -2.0, 0.0])
    assert wind.at(0.03) == pytest.approx([0.0, 0.0, 0.0])
    assert wind.at(-1.0) == pytest.approx([0.0, 0.0, 0.0])
    # The logarithmic law: equal steps for equal ratios of height.
    steps = np.diff([wind.at(height)[0] for height in (0.1, 1.0, 10.0)])
    assert steps[0] == pytest.approx(steps[1])
    assert Wind(4.0).at(0.0) == pytest.approx([4.0, 0.0, 0.0])


def test_a_roughness_above_the_wind_is_refused():
    with pytest.raises(InputError, match="roughness"):
        Wind(4.0, roughness_m=2.0, measured_at_m=2.0)


def test_shear_lies_between_no_wind_and_wind_everywhere():
    def carry(wind):
        return propagate([0, 0, 0.8, 12, 0, 2], forces(wind=wind)).landing.state[0]

    assert carry(Wind()) < carry(Wind(4.0, roughness_m=0.03)) < carry(Wind(4.0))


def test_spin_fades():
    spin = Spin((0.0, -100.0, 0.0), fades_in_s=2.0)
    assert spin.at(0.0) == pytest.approx([0, -100, 0])
    assert spin.at(2.0) == pytest.approx([0, -100 / np.e, 0])

    def height(fades_in_s):
        spun = forces((0.0, -150.0, 0.0), fades_in_s=fades_in_s, lift=FeltLift())
        return propagate(START, spun).apex.state[2]

    without = propagate(START, forces()).apex.state[2]
    assert without < height(0.5) < height(10.0) < height(np.inf)


def test_lift_is_across_both_spin_and_flight():
    rng = np.random.default_rng(4)
    for _ in range(20):
        spin, velocity = 50 * rng.normal(size=3), 10 * rng.normal(size=3)
        lift = Lift(Flow(REACH, 0.0335, Spin(spin)), Constant(0.2))
        push = lift(0.0, np.zeros(3), velocity)
        assert abs(push @ velocity) < 1e-10
        assert abs(push @ spin) < 1e-9
        expected = (
            0.2 * REACH * np.linalg.norm(velocity) * np.cross(spin / np.linalg.norm(spin), velocity)
        )
        assert push == pytest.approx(expected)


def test_spin_along_the_flight_does_not_lift():
    lift = Lift(Flow(REACH, 0.0335, Spin((100.0, 0.0, 0.0))), Constant(0.2))
    assert lift(0.0, np.zeros(3), np.array([20.0, 0.0, 0.0])) == pytest.approx(np.zeros(3))


def test_a_ball_at_rest_in_the_air_is_not_pushed():
    flow = Flow(REACH, 0.0335, Spin((0.0, -100.0, 0.0)), Wind(3.0))
    for force in (Drag(flow, SmoothSphereDrag(4400.0)), Lift(flow, Constant(0.2))):
        assert force(0.0, np.zeros(3), np.array([3.0, 0.0, 0.0])) == pytest.approx(np.zeros(3))


def test_smooth_sphere_at_rest_has_a_finite_coefficient():
    assert np.isfinite(SmoothSphereDrag(4400.0)(0.0, 0.0))
