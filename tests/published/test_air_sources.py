"""Air: the standard atmosphere, the CIPM-2007 equation, Sutherland's viscosity."""

import pytest
from ambiance import Atmosphere

from tracker.flight.air import Weather, air_from, moist_density, standard_atmosphere, viscosity

R_DRY = 287.05287

# Geometric height, K, Pa, kg/m3; the density printed in the Mechanical Engineers' Handbook,
# vol. 4, table 6, where it has that height; the density if the height were geopotential.
STANDARD = [
    (0, 288.15000, 101325.0, 1.22500002, 1.2250, 1.22500002),
    (500, 284.90026, 95461.2855, 1.16727328, None, 1.16726883),
    (1000, 281.65102, 89876.2776, 1.11165967, 1.1117, 1.11164250),
    (1219, 280.22802, 87515.1665, 1.08795235, None, 1.08792725),
    (2000, 275.15409, 79501.4111, 1.00655375, 1.0066, 1.00649010),
    (3000, 268.65920, 70121.1441, 0.90925435, 0.9093, 0.90912186),
]


@pytest.mark.parametrize(("height", "kelvin", "pascal", "density", "printed", "mixed_up"), STANDARD)
def test_standard_atmosphere(height, kelvin, pascal, density, printed, mixed_up):
    found_kelvin, found_pascal = standard_atmosphere(height)
    found = found_pascal / (R_DRY * found_kelvin)
    assert found_kelvin == pytest.approx(kelvin, abs=6e-6)
    assert found_pascal == pytest.approx(pascal, abs=6e-5)
    assert found == pytest.approx(density, rel=1e-8)
    if printed is not None:
        assert found == pytest.approx(printed, abs=5e-5)
    if height >= 500:
        assert abs(found - mixed_up) > 4e-6


@pytest.mark.parametrize("height", [-400, 0, 123, 500, 1000, 1219, 2000, 3000, 5000])
def test_standard_atmosphere_against_a_library(height):
    # `ambiance`: the standard atmosphere after ICAO Doc 7488.
    library = Atmosphere(height)
    kelvin, pascal = standard_atmosphere(height)
    assert kelvin == pytest.approx(float(library.temperature[0]), rel=1e-9)
    assert pascal == pytest.approx(float(library.pressure[0]), rel=1e-6)
    assert pascal / (R_DRY * kelvin) == pytest.approx(float(library.density[0]), rel=1e-6)
    assert viscosity(kelvin - 273.15) == pytest.approx(
        float(library.dynamic_viscosity[0]), rel=1e-6
    )


# degrees C, Pa, humidity; kg/m3 by CIPM-2007 computed outside the project from the constants
# that six public codes agree on; by CoolProp 8.0.0's humid air; by MetPy 1.7.1's ideal gas.
MOIST = [
    (20, 101325, 0.0, 1.20455734, 1.20460313, 1.20412884),
    (20, 101325, 0.5, 1.19931390, 1.19935928, 1.19888430),
    (20, 101325, 1.0, 1.19408724, 1.19413285, 1.19363975),
    (15, 101325, 0.0, 1.22552134, 1.22556746, 1.22502297),
    (0, 101325, 0.5, 1.29157791, 1.29162477, 1.29082257),
    (25, 101325, 0.5, 1.17731537, 1.17736020, 1.17695105),
    (30, 101325, 0.9, 1.14818139, 1.14822608, 1.14785095),
    (20, 95000, 0.5, 1.12409646, 1.12413759, 1.12371909),
    (20, 75000, 0.5, 0.88627659, 0.88630543, 0.88604253),
    (35, 85000, 0.2, 0.95632690, 0.95635976, 0.95616006),
]


@pytest.mark.parametrize(("celsius", "pascal", "humidity", "cipm", "real_gas", "ideal_gas"), MOIST)
def test_moist_air(celsius, pascal, humidity, cipm, real_gas, ideal_gas):
    found = moist_density(celsius, pascal, humidity)
    assert found == pytest.approx(cipm, abs=1e-8)
    assert found == pytest.approx(real_gas, rel=5e-5)
    assert found == pytest.approx(ideal_gas, rel=6e-4)


def test_slopes_of_the_density():
    # At 20 degrees C, 101 325 Pa, 50 %, computed outside the project.
    here = moist_density(20, 101325, 0.5)
    by_kelvin = (moist_density(20.01, 101325, 0.5) - moist_density(19.99, 101325, 0.5)) / 0.02
    by_pascal = (moist_density(20, 101335, 0.5) - moist_density(20, 101315, 0.5)) / 20
    by_humidity = (moist_density(20, 101325, 0.51) - moist_density(20, 101325, 0.49)) / 0.02
    assert by_kelvin / here == pytest.approx(-0.003692, abs=1e-6)
    assert by_pascal / here == pytest.approx(9.915958e-6, rel=1e-6)
    assert by_humidity / here == pytest.approx(-0.008730, abs=1e-6)


def test_simplified_formula_of_the_weights_trade():
    # OIML R 111-1, E.3 (from memory): 1.1992943 at 20 degrees C, 1013.25 hPa, 50 %; good to 2e-4.
    assert moist_density(20, 101325, 0.5) == pytest.approx(1.1992943, rel=2e-4)


def test_the_equation_before_2007_is_distinguished():
    # CIPM-81/91 took 28.9635 g/mol for dry air, 2007 takes 28.96546: 6.8e-5 of the density.
    old = moist_density(20, 101325, 0.0) * 28.9635 / 28.96546
    assert abs(old - 1.20455734) > 7e-5
    assert moist_density(20, 101325, 0.0) == pytest.approx(1.20455734, abs=1e-8)


@pytest.mark.parametrize(
    ("celsius", "value"),
    [
        (-10, 1.6661490e-5),
        (0, 1.7160793e-5),
        (15, 1.7893803e-5),
        (20, 1.8134059e-5),
        (25, 1.8372342e-5),
        (30, 1.8608692e-5),
        (40, 1.9075743e-5),
    ],
)
def test_viscosity(celsius, value):
    # Sutherland's law with the constants of ISO 2533:1975.
    assert viscosity(celsius) == pytest.approx(value, rel=1e-7)


def test_viscosity_against_a_table_of_real_air():
    # CoolProp 8.0.0 has 1.8205675e-5 Pa s at 20 degrees C, 0.4 % higher.
    assert viscosity(20) == pytest.approx(1.8205675e-5, rel=5e-3)


def test_air_of_a_known_day_is_that_of_the_equation():
    day = Weather(temperature_c=20, pressure_hpa=1013.25, humidity_percent=50)
    assert air_from(day).density_kgpm3 == pytest.approx(1.19931390, abs=1e-8)
