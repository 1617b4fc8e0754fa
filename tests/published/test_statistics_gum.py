"""Worked examples of the GUM (JCGM 100:2008)."""

import math

import pytest

from tracker.statistics.freedom import welch_dof
from tracker.statistics.means import student_factor

# Annex H.1, the length of an end gauge in nm: the standard, the comparator's three contributions,
# the difference of the expansions, the difference of the temperatures; each with its degrees of
# freedom. Computed with the nominal 50 mm in the sensitivities.
COMPARATOR = ((5.8, 24.0), (3.9, 5.0), (6.7, 8.0))
GAUGE = ((25.0, 18.0), (9.681942, 25.4473), (2.88675, 50.0), (16.59882, 2.0))


def combined(parts: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    squares = [(u**2, dof) for u, dof in parts]
    return math.sqrt(sum(square for square, _ in squares)), welch_dof(squares)


def test_h1_the_comparator_has_its_combined_uncertainty_and_degrees_of_freedom() -> None:
    u, dof = combined(COMPARATOR)
    assert u == pytest.approx(9.681942, abs=1e-6)
    assert dof == pytest.approx(25.4473, abs=1e-4)


def test_h1_effective_degrees_of_freedom_and_the_99_percent_uncertainty() -> None:
    u, dof = combined(GAUGE)
    assert dof == pytest.approx(16.75215, abs=2e-3)
    # H.1.6 rounds the degrees of freedom down to 16 and prints 2.92 and 93 nm.
    assert student_factor(0.99, 16) == pytest.approx(2.92078, abs=1e-5)
    assert student_factor(0.99, math.floor(dof)) * u == pytest.approx(92.4829, abs=1e-3)
