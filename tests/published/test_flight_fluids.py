"""Spheres falling and drag correlations, against the library `fluids` (MIT licence, C. Bell)."""

import pytest
from fluids.drag import drag_sphere, integrate_drag_sphere

from tracker.flight.coefficients import SmoothSphereDrag
from tracker.flight.forces import Drag, Flow, Weight
from tracker.flight.propagation import propagate

DIAMETER, DENSITY, AIR, VISCOSITY = 0.067, 368.302751, 1.2, 1.82e-5


def fall(coefficient, speed_down, time, *, diameter=DIAMETER, density=DENSITY):
    """Return speed and way downwards after a time."""
    weight = Weight(9.80665 * (1 - AIR / density))
    # rho A / 2m of a sphere is 3 rho / (4 d rho_ball).
    flow = Flow(0.75 * AIR / (diameter * density), diameter / 2)
    found = propagate(
        [0, 0, 0, 0, 0, -speed_down], (weight, Drag(flow, coefficient)), time, ground_m=None
    )
    end = found.trajectory.states[-1]
    return -end[5], -end[2]


def of_reynolds(method=None, diameter=DIAMETER):
    return lambda speed, spin: drag_sphere(
        max(AIR * speed * diameter / VISCOSITY, 1e-9), Method=method
    )


@pytest.mark.parametrize(
    ("start", "time", "speed", "way"),
    [(0.0, 1.0, 9.28506609, 4.76427781), (20.0, 0.5, 21.25710957, 10.33279403)],
)
def test_ball_in_air_falling(start, time, speed, way):
    # The values were computed once with fluids 1.3.1, whose choice of correlation they hold.
    assert fall(of_reynolds(), start, time) == pytest.approx((speed, way), abs=2e-6)
    library = integrate_drag_sphere(
        D=DIAMETER, rhop=DENSITY, rho=AIR, mu=VISCOSITY, t=time, V=start, distance=True
    )
    assert library == pytest.approx((speed, way), abs=1e-6)


def test_small_sphere_of_the_library_s_own_manual():
    # D 1 mm, 2200 kg/m3, 30 m/s, 0.5 s in rho 1.2, mu 1.78e-5.
    flow = Flow(0.75 * 1.2 / (0.001 * 2200), 0.0005)
    drag = Drag(flow, lambda speed, spin: drag_sphere(max(1.2 * speed * 0.001 / 1.78e-5, 1e-9)))
    found = propagate(
        [0, 0, 0, 0, 0, -30], (Weight(9.80665 * (1 - 1.2 / 2200)), drag), 0.5, ground_m=None
    )
    end = found.trajectory.states[-1]
    assert (-end[5], -end[2]) == pytest.approx((9.686465044, 7.829454644), abs=4e-6)
    # The library integrates with a looser tolerance: two tight solvers agree on 7.82945188 m.


def test_haider_levenspiel():
    # Powder Technol. 58, 63 (1989), as the library has it.
    for reynolds, value in [
        (1e2, 1.094740),
        (1e3, 0.453457),
        (1e4, 0.420383),
        (5e4, 0.468133),
        (1e5, 0.471496),
        (2e5, 0.468603),
    ]:
        own = SmoothSphereDrag(1.0)(reynolds, 0.0)
        assert own == pytest.approx(value, abs=1e-6)
        assert own == pytest.approx(drag_sphere(reynolds, Method="Haider_Levenspiel"), rel=1e-12)
    assert SmoothSphereDrag(10.0)(20.0, 0.0) == pytest.approx(0.7959551680, abs=1e-9)


@pytest.mark.parametrize("reynolds", [1e3, 1e4, 5e4, 1e5, 2e5])
def test_other_correlations_agree_within_their_scatter(reynolds):
    own = SmoothSphereDrag(1.0)(reynolds, 0.0)
    for method in ("Clift", "Clift_Gauvin", "Morsi_Alexander", "Morrison", "Barati_high"):
        assert drag_sphere(reynolds, Method=method) == pytest.approx(own, rel=0.15)


def test_rising_sphere_which_the_library_lets_rise_without_drag():
    # For a negative start the library's Reynolds number is negative, its drag all but vanishes
    # and its answer is that of free fall (fluids 1.3.1). Drag must slow a rising ball more.
    start, time = 20.0, 1.0
    free = 9.80665 * (1 - AIR / DENSITY)
    library = integrate_drag_sphere(
        D=DIAMETER, rhop=DENSITY, rho=AIR, mu=VISCOSITY, t=time, V=-start, distance=True
    )
    assert library == pytest.approx((-start + free, -start + free / 2), abs=5e-3)
    speed, way = fall(of_reynolds(), -start, time)
    assert speed > library[0] + 1.0
    assert way > library[1] + 1.0
