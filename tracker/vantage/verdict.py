"""Whether a place to film from is good, as findings from which a sentence is made elsewhere."""

from dataclasses import dataclass
from enum import Enum

from tracker.vantage.forecast import Forecast

FAINT_SNR = 8.0
"""A ball whose contrast is below this many standard deviations may be missed in some frames (common
practice, no source)."""

LOST_SNR = 3.3
"""A ball whose contrast is nowhere above this many standard deviations is not found: the limit of
detection (L. A. Currie, Pure and Applied Chemistry 67, 1699, 1995: 3.29 for errors of 5 %; from
memory)."""

SMALL_PX = 1.5
"""A ball narrower than this looks like a leaf or a bird, px (common practice, no source)."""

TIGHT_SHARE = 0.02
"""A margin below this share of the frame's longer side is lost by aiming (common practice, no
source)."""

FEW_FRAMES = 30
"""In fewer frames a bird may take the ball's place (common practice, no source)."""

SMEAR_ROUNDING = 1.001
"""A shutter time beyond the longest by less than this factor is a rounding of it."""


class Grade(Enum):
    """How good a place to film from is."""

    GOOD = "good"
    USABLE = "usable"
    UNSUITABLE = "unsuitable"


class Finding(Enum):
    """What speaks against a place to film from."""

    OUT_OF_VIEW = "a part of the expected shot is out of view"
    TOO_NEAR = "the camera is too near the line of fire"
    SOME_OUT_OF_VIEW = "a shot one standard uncertainty off is out of view"
    TIGHT = "little margin at the frame's edge"
    SMEARED = "the shutter time smears the ball"
    FAINT = "the ball hardly stands out of the noise"
    SMALL = "the ball is hardly wider than a pixel"
    FEW_FRAMES = "few frames show the ball"


@dataclass(frozen=True)
class Verdict:
    """The grade of a place, and what speaks against it."""

    grade: Grade
    findings: tuple[Finding, ...]


def verdict_of(forecast: Forecast, quantity: str, distance_m: float, clear_m: float) -> Verdict:
    """Return the verdict on a forecast.

    Parameters
    ----------
    forecast : Forecast
    quantity : str
        Figure that the place is judged by: only a carry needs the whole flight.
    distance_m : float
        From the camera to the line of fire.
    clear_m : float
        Distance within which nobody stands.
    """
    shown = [one for one in forecast.moments if one.margin_px > 0.0]
    width = max(forecast.camera.size_px)
    holds = {
        Finding.OUT_OF_VIEW: forecast.fastest_mps is None,
        Finding.TOO_NEAR: distance_m < clear_m,
        Finding.SOME_OUT_OF_VIEW: forecast.fastest_mps is not None and forecast.margin_px <= 0.0,
        Finding.TIGHT: 0.0 < forecast.margin_px < TIGHT_SHARE * width,
        Finding.SMEARED: forecast.shutter_s > SMEAR_ROUNDING * forecast.longest_shutter_s,
        Finding.FAINT: any(one.snr < FAINT_SNR for one in shown),
        Finding.SMALL: any(one.diameter_px < SMALL_PX for one in shown),
        Finding.FEW_FRAMES: forecast.frames_seen < FEW_FRAMES,
    }
    findings = tuple(finding for finding, true in holds.items() if true)
    rules_out = {Finding.TOO_NEAR}
    if all(one.snr < LOST_SNR for one in shown):
        rules_out.add(Finding.FAINT)
    if quantity == "carry_m":
        rules_out.add(Finding.OUT_OF_VIEW)
    if rules_out.intersection(findings):
        return Verdict(Grade.UNSUITABLE, findings)
    return Verdict(Grade.USABLE if findings else Grade.GOOD, findings)
