"""Before filming: what can be had from a place to film from, and where the best one is."""

from tracker.vantage.changes import Change
from tracker.vantage.forecast import Forecast, Moment
from tracker.vantage.place import JUDGED_BY, Box, Field, Vantage, assess
from tracker.vantage.plan import CLEAR_M, Assumption, Plan, Triple, shutter_words, stand_of
from tracker.vantage.shots import ANGLE_U_DEG, SPEED_U_SHARE, ExpectedShots
from tracker.vantage.stand import CONTRAST, NOISE, Stand, moved
from tracker.vantage.verdict import Finding, Grade, Verdict

__all__ = [
    "ANGLE_U_DEG",
    "CLEAR_M",
    "CONTRAST",
    "JUDGED_BY",
    "NOISE",
    "SPEED_U_SHARE",
    "Assumption",
    "Box",
    "Change",
    "ExpectedShots",
    "Field",
    "Finding",
    "Forecast",
    "Grade",
    "Moment",
    "Plan",
    "Stand",
    "Triple",
    "Vantage",
    "Verdict",
    "assess",
    "moved",
    "shutter_words",
    "stand_of",
]
