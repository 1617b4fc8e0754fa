"""Spheres falling and drag correlations, against the library `fluids` (MIT licence, C. Bell)."""

import numpy as np
import pytest
from fluids.drag import drag_sphere, integrate_drag_sphere

from tracker.flight.coefficients import SmoothSphereDrag
from tracker.flight.forces import DRAG_AT_MPS, Forces
from tracker.flight.integration import fly

DIAMETER, DENSITY, AIR, VISCOSITY = 0.067, 368.302751, 1.2, 1.82e-5
SPEEDS_MPS = tuple(float(speed) for speed in np.arange(0.5, 60.5, 0.5))


def fall(speed_down, time, *, diameter=DIAMETER, density=DENSITY, viscosity=VISCOSITY):
    """Return speed and way downwards after a time, drag as the library's correlation has it.

    The flight takes the coefficient as straight pieces between speeds 0.5 m/s apart.
    """

    def drag(speed):
        return drag_sphere(AIR * speed * diameter / viscosity)

    stated = drag(DRAG_AT_MPS)
    curve = (SPEEDS_MPS, tuple(drag(speed) / stated for speed in SPEEDS_MPS))
    # rho A / 2m of a sphere is 3 rho / (4 d rho_ball).
    reach, gravity = 0.75 * AIR / (diameter * density), 9.80665 * (1 - AIR / density)
    start = [0.0, 0.0, 0.0, 0.0, 0.0, -speed_down, stated, 0.0, 0.0, 0.0, 0.0]
    end = fly(start, Forces(reach, gravity, curve), time, 0.002).states[-1]
    return -end[5], -end[2]


@pytest.mark.parametrize(
    ("start", "time", "speed", "way"),
    [(0.0, 1.0, 9.28506609, 4.76427781), (20.0, 0.5, 21.25710957, 10.33279403)],
)
def test_ball_in_air_falling(start, time, speed, way):
    # The values were computed once with fluids 1.3.1, whose choice of correlation they hold.
    assert fall(start, time) == pytest.approx((speed, way), rel=2e-4)
    library = integrate_drag_sphere(
        D=DIAMETER, rhop=DENSITY, rho=AIR, mu=VISCOSITY, t=time, V=start, distance=True
    )
    assert library == pytest.approx((speed, way), abs=1e-6)


def test_small_sphere_of_the_library_s_own_manual():
    # D 1 mm, 2200 kg/m3, 30 m/s, 0.5 s in rho 1.2, mu 1.78e-5: 9.686465 m/s, 7.829455 m.
    found = fall(30.0, 0.5, diameter=0.001, density=2200.0, viscosity=1.78e-5)
    assert found == pytest.approx((9.686465044, 7.829454644), rel=2e-4)


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
    speed, way = fall(-start, time)
    assert speed > library[0] + 1.0
    assert way > library[1] + 1.0
