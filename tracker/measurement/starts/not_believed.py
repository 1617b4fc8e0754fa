"""What is said of a fall that may be a ball's in a clip without a shot: the test that it failed.

The reason of a rejected candidate states what was reckoned. Who filmed the clip wants to know what
that means for the next one.
"""

from collections.abc import Mapping

from tracker.records import Reason, ReasonCode, RejectedCandidate

STEADY = (
    "rest the camera on something firm, with ground, a fence or a house in the picture, and follow "
    "nothing with it"
)
NEARER = "film from nearer, or before an even background from which the ball differs"
RATE = "if the file plays slower than life, give its true frame rate, as --capture-fps"
LONGER = "film so that more of the flight is in the picture"

NOT_BELIEVED: Mapping[ReasonCode, str] = {
    ReasonCode.SOMETHING_ELSE: "its spot changes its brightness or its shape more than a ball's, "
    f"so {NEARER}",
    ReasonCode.POSITIONS_BY_CHANCE: "so much else moves around it that chance explains it as well, "
    "so film where nothing moves behind the ball, and rest the camera on something firm",
    ReasonCode.CAMERA_NOT_FOLLOWED: "the background could not be followed while it flew, so "
    f"{STEADY}",
    ReasonCode.RUNS_ON: "it moved on smoothly before or after it fell, as a bird does, so if a "
    "hand led or caught it, film its flight from farther off",
    ReasonCode.NO_FIT: "no flight of the ball that is stated explains its path, so name the ball "
    "with --ball, and hold the camera level, without a zoom",
    ReasonCode.IMPLAUSIBLE: "no likely flight of the ball that is stated explains its path, so "
    "name the ball (page Field, or --ball), and hold the camera level, without a zoom",
    ReasonCode.DISTANCE_IMPLAUSIBLE: "gravity places it {away_m:.1f} m from the camera, so "
    f"{RATE}",
    ReasonCode.SPEED_IMPLAUSIBLE: "gravity gives it a speed of {speed_mps:.0f} m/s, so " + RATE,
    ReasonCode.POSITIONS_DISAGREE: "only {count:.0f} of its {crossed:.0f} positions agree with one "
    "flight, so film it where nothing hides or touches it",
    ReasonCode.SCATTER_TOO_LARGE: f"it jumps about more than a ball does, so {STEADY}",
    ReasonCode.INNOVATIONS: f"it jumps about more than a ball does, so {STEADY}",
    ReasonCode.CLOCK_UNSURE: "its width and its fall agree at no frame rate, so give the true one "
    "as --capture-fps",
    ReasonCode.BEYOND_LANDING: "it flies on for {beyond_s:.2f} s after it should have come down, "
    "so have the ground on which it lands in the picture",
    ReasonCode.SIZE_DISAGREES: "it is not as wide in the picture as the ball that is stated, so "
    "name the ball that was thrown with --ball",
    ReasonCode.TOO_FEW_FRAMES: "it shows in {frames:.0f} frames only, so " + LONGER,
    ReasonCode.SPEED_UNKNOWN: f"its positions leave its speed too uncertain, so {LONGER}",
    ReasonCode.RAGGED: f"it hardly stands out, so {NEARER}",
    ReasonCode.FAINT: f"it hardly stands out, so {NEARER}",
    ReasonCode.TOO_CLOSE: "it is {diameter_px:.0f} px across, and a ball is measured up to "
    "{most_px:.0f} px, so film from farther off",
}
"""What speaks against a fall that may be a ball's, in the words of who films, and what to do."""


def not_believed(fall: RejectedCandidate, pace: float) -> Reason:
    """Return that a fall may be a ball's, from when to when, and which test it failed.

    Parameters
    ----------
    fall : RejectedCandidate
    pace : float
        Playing seconds of the clip per true second.
    """
    reason = fall.reasons[0]
    end_s = fall.release_s + pace * float(fall.times_s[-1] - fall.times_s[0])
    numbers = {"release_s": fall.release_s, "end_s": end_s}
    plainly = NOT_BELIEVED.get(reason.code)
    words = reason.clause if plainly is None else plainly.format(**reason.numbers)
    return Reason(ReasonCode.NO_THROW_MEASURED, numbers, words)
