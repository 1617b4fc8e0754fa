"""Launches written the way handbooks write them."""

import numpy as np

from tracker.flight.forces import Forces

# A ball of 58 g and 67 mm in air of 1.2 kg/m3: rho A / 2m, computed with 12 digits.
REACH = 3.647226574646e-2
TENNIS = Forces(REACH)


def launch(speed, angle_deg, height=0.0, drag=0.0, lift=(0.0, 0.0), wind=(0.0, 0.0)):
    """Return a launch down the line; lift is (up, left), wind (downrange, left)."""
    angle = np.radians(angle_deg)
    return np.array(
        [0.0, 0.0, height, speed * np.cos(angle), 0.0, speed * np.sin(angle), drag, *lift, *wind]
    )
