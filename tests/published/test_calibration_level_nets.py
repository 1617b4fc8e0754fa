"""Levelling networks adjusted in published worked examples.

Jerry Mahun, Open Access Surveying Library, "XV. Least Squares Lite", chapters D.4 (equal
weights) and E.4 (weights by number of setups): the same eight lines in feet.
https://jerrymahun.com, read in a public copy. Benchmarks follow from the adjusted table.

Zoltán Siki, OSGeoLab at BME, "Level network adjustment and data snooping", 2012-2014, in the
repository OSGeoLabBp/tutorials, english/data_processing/level_net.rst: with redundancy numbers
and the test statistics of each line.
"""

import numpy as np
import pytest

from calibration.adjustment import adjust, redundancy_numbers, w_values

BENCHMARKS = {"A": 806.520, "B": 818.320, "C": 820.120, "D": 824.040}
LINES = (
    ("A", "Q", 8.91, 3),
    ("B", "Q", -2.92, 2),
    ("C", "Q", -4.67, 1),
    ("D", "Q", -8.66, 3),
    ("A", "R", -3.56, 3),
    ("C", "R", -17.12, 4),
    ("D", "R", -21.10, 2),
    ("Q", "R", -12.47, 3),
)


def _mahun(setups: bool):
    design, fixed = np.zeros((8, 2)), np.zeros(8)
    for i, (start, end, _, _) in enumerate(LINES):
        for point, sign in ((start, -1.0), (end, 1.0)):
            if point in BENCHMARKS:
                fixed[i] += sign * BENCHMARKS[point]
            else:
                design[i, "QR".index(point)] += sign
    observed = np.array([line[2] for line in LINES])
    spread = np.sqrt([line[3] for line in LINES]) if setups else np.ones(8)
    return adjust(
        lambda heights: (observed - fixed - design @ heights, design), np.zeros(2), spread
    )


def test_mahun_level_circuit_of_equal_weights():
    # The chapter prints 0.028 for the unit weight; its own residuals give 0.0290, so neither
    # that figure nor the standard deviations made from it are held here.
    fit = _mahun(setups=False)
    assert fit.degrees_of_freedom == 6
    assert fit.state == pytest.approx((815.418, 802.962), abs=6e-4)
    adjusted = np.array([line[2] for line in LINES]) - fit.residuals
    printed = (8.898, -2.902, -4.702, -8.622, -3.558, -17.158, -21.078, -12.456)
    assert adjusted == pytest.approx(printed, abs=6e-4)


def test_mahun_level_circuit_weighted_by_setups():
    fit = _mahun(setups=True)
    assert fit.state == pytest.approx((815.424, 802.958), abs=1.3e-3)
    # The chapter scales its weights by twelve, and the unit with them.
    assert np.sqrt(12.0 * fit.variance_factor) == pytest.approx(0.067, abs=6e-4)
    spread = np.sqrt(np.diag(fit.covariance) * fit.variance_factor)
    assert spread == pytest.approx((0.012, 0.016), abs=6e-4)


def test_siki_data_snooping():
    # Start, end, height difference (m), length (km); the standard deviation of a line is
    # 0.7 mm times its length, as that example has it. Point 4 is held.
    lines = (
        (0, 1, -0.749, 1.1),
        (0, 2, -1.274, 1.8),
        (0, 3, -2.890, 1.4),
        (1, 2, -0.530, 1.5),
        (1, 3, -2.141, 1.9),
        (2, 3, -1.614, 0.9),
    )
    observed = np.array([line[2] for line in lines])
    spread = 0.0007 * np.array([line[3] for line in lines])
    design = np.zeros((6, 4))
    for i, (start, end, _, _) in enumerate(lines):
        design[i, start], design[i, end] = -1.0, 1.0

    def model(heights):
        return observed - design @ np.append(heights, 101.345), design[:, :3]

    fit = adjust(model, np.array([104.0, 103.0, 102.0]), spread)
    assert fit.state == pytest.approx((104.2350, 103.4868, 102.9588), abs=6e-5)
    factor = np.sqrt(fit.variance_factor)
    assert factor == pytest.approx(1.65, abs=6e-3)
    assert fit.chi_square == pytest.approx(8.217, abs=6e-4)
    assert 1000 * factor * np.sqrt(np.diag(fit.covariance)) == pytest.approx(
        (1.13, 1.19, 0.91), abs=6e-3
    )
    printed_corrections = (0.81, -2.18, 0.00, 2.01, -0.81, 0.18)
    assert -1000 * fit.residuals == pytest.approx(printed_corrections, abs=6e-3)
    assert redundancy_numbers(fit) == pytest.approx((0.3, 0.7, 0.5, 0.5, 0.7, 0.2), abs=0.06)
    # Printed to one decimal: the normal statistic, and over the factor the other one.
    assert np.abs(w_values(fit)) == pytest.approx((1.9, 2.1, 0.0, 2.6, 0.7, 0.6), abs=0.06)
    assert np.abs(w_values(fit)) / factor == pytest.approx((1.1, 1.3, 0.0, 1.6, 0.4, 0.4), abs=0.06)
