"""The parameters of a flight fit and where each stands in the parameter vector."""

import numpy as np

from calibration.camera import PARAMETERS as CAMERA_PARAMETERS
from tracker.flight.gusts import GUST_MODES
from tracker.flight.integration import EXTRAS, LAUNCH

PARAMETERS = (
    "release_s",
    *LAUNCH,
    "readout_s",
    "light_right",
    "light_down",
    "light_forward",
    "gravity_mps2",
    *EXTRAS[1:],
    *CAMERA_PARAMETERS,
)
"""Order of the parameter vector, shape (P,): release time, launch, readout time of the shutter,
light on the ball along the camera's axes, gravity and the other force parameters
(`tracker.flight.integration.EXTRAS`), and the camera. Gravity and camera are corrections to their
prior values."""

RELEASE_AT = 0
LAUNCH_AT = slice(1, 1 + len(LAUNCH))
"""The launch, in the order of `tracker.flight.integration.LAUNCH`."""

POSITION_AT = slice(LAUNCH_AT.start, LAUNCH_AT.start + 3)
VELOCITY_AT = slice(POSITION_AT.stop, POSITION_AT.stop + 3)
DRAG_AT = PARAMETERS.index("drag")
LIFT_AT = slice(DRAG_AT + 1, DRAG_AT + 3)
MEAN_WIND_AT = slice(LIFT_AT.stop, LIFT_AT.stop + 2)
READOUT_AT = PARAMETERS.index("readout_s")
LIGHT_AT = slice(READOUT_AT + 1, READOUT_AT + 4)
GRAVITY_AT = PARAMETERS.index("gravity_mps2")
SLOPE_AT = PARAMETERS.index("drag_slope")
FADE_AT = PARAMETERS.index("lift_fade")
GUSTS_AT = FADE_AT + 1
CAMERA_AT = GRAVITY_AT + len(EXTRAS)
CAMERA_SIZE = len(CAMERA_PARAMETERS)
CAMERA_ACROSS_AT = CAMERA_AT + CAMERA_PARAMETERS.index("across")

FLIGHT_AT = np.array([*range(1, READOUT_AT), *range(GRAVITY_AT, CAMERA_AT)])
"""Parameters that decide the flight, in the order of the columns of a trajectory's
sensitivities."""

WIND_AT = tuple(
    np.array([mean, *range(GUSTS_AT + first, GUSTS_AT + first + GUST_MODES)])
    for mean, first in ((MEAN_WIND_AT.start, 0), (MEAN_WIND_AT.start + 1, GUST_MODES))
)
"""Mean wind and gust modes, along and across: each axis has one joint prior."""
