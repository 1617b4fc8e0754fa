"""Adjustment by least squares with covariance, reliability and robust weights; no cameras."""

from calibration.adjustment.least_squares import (
    Adjustment,
    Limits,
    NotDetermined,
    adjust,
)
from calibration.adjustment.reliability import (
    critical_w,
    falls_of_chi_square,
    redundancy_numbers,
    smallest_findable,
    w_values,
)

__all__ = [
    "Adjustment",
    "Limits",
    "NotDetermined",
    "adjust",
    "critical_w",
    "falls_of_chi_square",
    "redundancy_numbers",
    "smallest_findable",
    "w_values",
]
