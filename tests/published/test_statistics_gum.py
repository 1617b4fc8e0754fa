"""Worked examples of the GUM (JCGM 100:2008) and of its Monte Carlo supplement (JCGM 101:2008)."""

import math

import numpy as np
import pytest

from tracker.statistics import (
    combined,
    coverage_interval,
    effective_dof,
    propagate,
    second_order_u,
)
from tracker.statistics.line import fit_line
from tracker.statistics.means import student_factor

# Annex H.1: the length of an end gauge, nm. Standard's length and its u with 18 degrees of
# freedom; the comparator's three contributions; half widths of rectangles for the rest.
STANDARD_NM = 50_000_623.0
GAUGE_PARTS = [(25.0, 18.0)]
COMPARATOR = [(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)]
EXPANSION = 11.5e-6
U_EXPANSION_DIFFERENCE = 1e-6 / math.sqrt(3)
U_EXPANSION = 2e-6 / math.sqrt(3)
U_TEMPERATURE = math.hypot(0.2, 0.5 / math.sqrt(2))
U_TEMPERATURE_DIFFERENCE = 0.05 / math.sqrt(3)


def gauge_length(x: np.ndarray) -> float:
    length, offset, expansion, expansion_difference, temperature, temperature_difference = x
    return (
        length
        + offset
        - length * (expansion_difference * temperature + expansion * temperature_difference)
    )


def gauge_inputs() -> tuple[np.ndarray, np.ndarray]:
    comparator = combined(215.0, COMPARATOR)
    values = np.array([STANDARD_NM, 215.0, EXPANSION, 0.0, -0.1, 0.0])
    u = np.array(
        [
            25.0,
            comparator.u,
            U_EXPANSION,
            U_EXPANSION_DIFFERENCE,
            U_TEMPERATURE,
            U_TEMPERATURE_DIFFERENCE,
        ]
    )
    return values, u


def test_h1_the_comparator_has_its_combined_uncertainty_and_degrees_of_freedom() -> None:
    comparator = combined(215.0, COMPARATOR)
    assert comparator.u == pytest.approx(9.681942, abs=1e-6)
    assert comparator.dof == pytest.approx(25.4473, abs=1e-4)


def test_h1_the_gauge_has_the_published_length_and_uncertainty() -> None:
    values, u = gauge_inputs()
    (length,), covariance = propagate(gauge_length, values, np.diag(u**2))
    # H.1 prints 50.000838 mm and 32 nm.
    assert length == pytest.approx(50_000_838.0, abs=0.5)
    # Computed with the nominal 50 mm in the sensitivities, hence the last digits.
    assert math.sqrt(covariance[0, 0]) == pytest.approx(31.663767, abs=5e-4)


def test_h1_effective_degrees_of_freedom_and_the_99_percent_uncertainty() -> None:
    values, u = gauge_inputs()
    parts = [
        (u[0], 18.0),
        (u[1], 25.4473),
        (values[0] * 0.1 * u[3], 50.0),
        (values[0] * EXPANSION * u[5], 2.0),
    ]
    assert parts[2][0] == pytest.approx(2.88675, abs=1e-4)
    assert parts[3][0] == pytest.approx(16.59882, abs=3e-4)
    dof = effective_dof(parts)
    assert dof == pytest.approx(16.75215, abs=2e-3)
    # H.1.6 rounds the degrees of freedom down to 16 and prints 2.92 and 93 nm.
    expanded = student_factor(0.99, math.floor(dof)) * combined(0.0, parts).u
    assert student_factor(0.99, 16) == pytest.approx(2.92078, abs=1e-5)
    assert expanded == pytest.approx(92.4829, abs=1e-3)


def test_h1_second_order_terms_raise_it_to_34_nm() -> None:
    values, u = gauge_inputs()
    assert second_order_u(gauge_length, values, u) == pytest.approx(33.80639, abs=5e-4)


def test_h2_resistance_reactance_and_impedance() -> None:
    values = np.array([4.999, 0.019661, 1.04446])
    u = np.array([0.0032, 9.5e-6, 0.00075])
    correlation = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])

    def impedance(x: np.ndarray) -> np.ndarray:
        size = x[0] / x[1]
        return np.array([size * math.cos(x[2]), size * math.sin(x[2]), size])

    results, covariance = propagate(impedance, values, correlation * np.outer(u, u))
    got = np.sqrt(np.diag(covariance))
    # Table H.4 prints 127.732(70), 219.85(30), 254.26(24).
    assert results == pytest.approx([127.732, 219.847, 254.260], abs=1e-3)
    assert got == pytest.approx([0.06997873, 0.29571683, 0.23660297], abs=1e-6)
    r = covariance / np.outer(got, got)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.5915, -0.4906, 0.9928], abs=1e-4)


def test_h3_calibration_line_of_a_thermometer() -> None:
    temperature = [
        21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511,
    ]  # fmt: skip
    correction = [
        -0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160,
    ]  # fmt: skip
    line = fit_line(temperature, correction, origin=20.0)
    assert line.height.value == pytest.approx(-0.171204, abs=1e-6)
    assert line.height.u == pytest.approx(0.002878, abs=1e-6)
    assert line.slope.value == pytest.approx(0.00218270, abs=1e-8)
    assert line.slope.u == pytest.approx(0.00066794, abs=1e-8)
    assert line.correlation == pytest.approx(-0.93043, abs=1e-5)
    assert line.residual_sd == pytest.approx(0.003498, abs=1e-6)
    at_thirty = line.at(30.0)
    assert at_thirty.value == pytest.approx(-0.149377, abs=1e-6)
    assert at_thirty.u == pytest.approx(0.004139, abs=1e-6)
    assert at_thirty.dof == 9


TRIALS = 400_000


@pytest.mark.parametrize(
    ("kind", "u", "half_width"),
    [
        # JCGM 101, 9.2.2 to 9.2.4; half widths exact (normal, Irwin-Hall) or recomputed.
        ("normal", 2.0, 3.91993),
        ("rectangular", 2.0, 3.879407),
        ("one wide rectangle", 10.148892, 17.01581),
    ],
)
def test_jcgm_101_additive_models(kind: str, u: float, half_width: float) -> None:
    draw = np.random.default_rng(101)
    if kind == "normal":
        draws = draw.normal(size=(4, TRIALS)).sum(axis=0)
    else:
        widths = np.array([1.0, 1.0, 1.0, 10.0 if "wide" in kind else 1.0]) * math.sqrt(3)
        draws = (draw.uniform(-1, 1, size=(4, TRIALS)) * widths[:, None]).sum(axis=0)
    low, high = coverage_interval(draws, 0.95)
    assert draws.std() == pytest.approx(u, abs=0.004 * u)
    assert (high - low) / 2 == pytest.approx(half_width, abs=0.03 if u < 5 else 0.06)


def test_jcgm_101_mass_calibration_is_wider_than_first_order_says() -> None:
    def deviation_mg(x: np.ndarray) -> np.ndarray:
        reference, trim, air, weight, standard = x
        nominal = 100_000.0
        return (reference + trim) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / standard)) - nominal

    centre = np.array([100_000.0, 1.234, 1.2, 8000.0, 8000.0])
    u = np.array([0.050, 0.020, 0.1 / 3**0.5, 1000 / 3**0.5, 50 / 3**0.5])
    (value,), covariance = propagate(deviation_mg, centre, np.diag(u**2))
    assert value == pytest.approx(1.234, abs=1e-9)
    assert math.sqrt(covariance[0, 0]) == pytest.approx(0.05385, abs=1e-5)

    draw = np.random.default_rng(1013)
    draws = deviation_mg(
        np.array(
            [
                draw.normal(100_000.0, 0.050, TRIALS),
                draw.normal(1.234, 0.020, TRIALS),
                draw.uniform(1.10, 1.30, TRIALS),
                draw.uniform(7000.0, 9000.0, TRIALS),
                draw.uniform(7950.0, 8050.0, TRIALS),
            ]
        )
    )
    low, high = coverage_interval(draws, 0.95, shortest=True)
    assert draws.std() == pytest.approx(0.07548, abs=0.001)
    assert low == pytest.approx(1.0845, abs=0.004)
    assert high == pytest.approx(1.3836, abs=0.004)
