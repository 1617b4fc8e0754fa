import pytest

from calibration.errors import InputErrors
from tracker.flight.air import Weather, air_from, moist_density


def test_nothing_known_is_a_standard_day_with_room():
    air = air_from(Weather())
    assert air.density_kgpm3 == pytest.approx(moist_density(15.0, 101325.0, 0.5), rel=1e-12)
    # 8 K are 2.95 %, 2059 Pa 2.04 %, 25 % of humidity 0.16 % of the density.
    assert air.density_u_kgpm3 / air.density_kgpm3 == pytest.approx(0.0359, abs=0.0002)
    assert (air.wind_along_mps, air.wind_across_mps, air.wind_u_mps) == (0.0, 0.0, 1.0)


def test_everything_known_leaves_half_a_percent():
    air = air_from(Weather(temperature_c=20, pressure_hpa=1013.25, humidity_percent=50))
    assert air.density_u_kgpm3 / air.density_kgpm3 == pytest.approx(0.0038, abs=0.0003)


@pytest.mark.parametrize(
    "more",
    [
        {"temperature_c": 15.0},
        {"pressure_hpa": 1013.25},
        {"altitude_m": 0.0},
        {"humidity_percent": 50.0},
    ],
)
def test_each_thing_known_narrows_and_does_not_move(more):
    known, unknown = air_from(Weather(**more)), air_from(Weather())
    assert known.density_kgpm3 == pytest.approx(unknown.density_kgpm3, rel=1e-6)
    assert known.density_u_kgpm3 < unknown.density_u_kgpm3


def test_altitude_sets_pressure_and_temperature():
    high = air_from(Weather(altitude_m=2000.0))
    assert high.density_kgpm3 == pytest.approx(1.0066, rel=3e-3)
    warm = air_from(Weather(altitude_m=2000.0, temperature_c=25.0))
    assert warm.density_kgpm3 == pytest.approx(79501.4 / (287.05287 * 298.15), rel=8e-3)


def test_wind_and_its_uncertainty():
    given = air_from(Weather(wind_along_mps=2.0))
    assert (given.wind_along_mps, given.wind_across_mps, given.wind_u_mps) == (2.0, 0.0, 0.5)
    assert air_from(Weather(wind_along_mps=2.0, wind_u_mps=0.2)).wind_u_mps == 0.2
    assert air_from(Weather(wind_u_mps=0.0)).wind_u_mps == 0.0


def test_every_fault_is_reported_at_once():
    with pytest.raises(InputErrors) as caught:
        air_from(Weather(temperature_c=300.0, pressure_hpa=101325.0, humidity_percent=-1.0))
    reported = str(caught.value)
    assert len(caught.value.sentences()) == 3
    assert "[air] temperature_c: 300 is out of range; give a number from -40 to 60" in reported
    assert "[air] pressure_hpa" in reported
    assert "[air] humidity_percent" in reported


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_not_a_number_is_refused(bad):
    with pytest.raises(InputErrors):
        air_from(Weather(wind_along_mps=bad))


def test_pressure_and_altitude_together_are_ambiguous():
    with pytest.raises(InputErrors, match="both given"):
        air_from(Weather(pressure_hpa=950.0, altitude_m=500.0))
