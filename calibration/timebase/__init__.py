"""True times: of frames that the file's clock misstates, and of rows within a frame."""

from calibration.timebase.cadence import Cadence, TimeBase, check_cadence, without_doubles
from calibration.timebase.changes import STILL_PEAK, Changes, find_repeats
from calibration.timebase.lags import Lags, beat_of_lags
from calibration.timebase.rows import row_fraction, true_times_s

__all__ = [
    "STILL_PEAK",
    "Cadence",
    "Changes",
    "Lags",
    "TimeBase",
    "beat_of_lags",
    "check_cadence",
    "find_repeats",
    "row_fraction",
    "true_times_s",
    "without_doubles",
]
