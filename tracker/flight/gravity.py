"""Gravity where the ball flies."""

STANDARD_GRAVITY = 9.80665
"""Standard gravity, m/s² (3rd CGPM, 1901; exact)."""

STANDARD_GRAVITY_U = 0.015
"""Its standard uncertainty as that of a place that nobody states, m/s²: half the span from equator
to pole, 0.026 m/s² (WGS 84; NIMA TR8350.2, 2000), taken as rectangular."""
