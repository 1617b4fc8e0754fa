"""Every reason that a row or a rejected candidate can have, defined once.

An entry holds a phrase for tables, a clause for a person and the figures that are made doubtful.
"""

from tracker.records.codes import (
    AT_RELEASE,
    DOWNRANGE,
    NO_FIGURE,
    Figure,
    ReasonCode,
)
from tracker.records.entry import START, Entry
from tracker.records.no_shot import NO_SHOT

_DOUBTS = {
    ReasonCode.LANDING_NOT_SEEN: Entry(
        "landing not seen",
        "the landing was not seen, so the carry is extrapolated by the fit",
        DOWNRANGE,
    ),
    ReasonCode.STOPPED: Entry(
        "stopped in flight",
        "it was last seen {along:.1f} m along and {up:.1f} m up: something stopped or hid it "
        "there, and the carry is that of a free flight",
        DOWNRANGE,
    ),
    ReasonCode.NEVER_LANDS: Entry(
        "never lands", "the fitted flight does not reach the ground", DOWNRANGE
    ),
    ReasonCode.FEW_FRAMES: Entry("few frames", "the ball was found in only {frames:.0f} frames"),
    ReasonCode.LOW_SHARE: Entry(
        "found in few of its frames",
        "the ball was found in {frames:.0f} of the {crossed:.0f} frames it crossed",
    ),
    ReasonCode.SPEED_UNCERTAIN: Entry(
        "exit speed uncertain",
        "the standard uncertainty of the exit speed is above {limit_percent:g} %",
        frozenset({Figure.SPEED}),
    ),
    ReasonCode.SCATTER: Entry(
        "positions scatter",
        "the positions scatter {times:.1f} times as much as the image noise explains",
    ),
    ReasonCode.INNOVATIONS: Entry(
        "innovations too large",
        "from frame to frame it jumps about more than a ball in one flight does",
    ),
    ReasonCode.FIT_NOT_SETTLED: Entry(
        "fit not settled", "no single flight could be settled on: the fit did not converge"
    ),
    ReasonCode.FRAME_TIMES: Entry(
        "frame times wrong",
        "the clip's frame times are wrong and cannot be corrected (see the note on the clip)",
    ),
    ReasonCode.CAMERA_LOST: Entry(
        "camera motion lost",
        "in {percent:.0f} % of the frames the background could not be followed, so the camera may "
        "have moved unseen",
    ),
    ReasonCode.GRAVITY_OFF: Entry(
        "gravity off", "it falls {share:.3g} times as fast as gravity makes a ball fall"
    ),
    ReasonCode.GRAVITY_FRAME_RATE: Entry(
        "frame rate wrong?",
        "the true frame rate is likely {rate_fps:g} a second, not {assumed_fps:.4g} "
        "(capture_fps, on the page Field)",
    ),
    ReasonCode.GRAVITY_YARDS: Entry("yards?", "the markers are likely spaced in yards, not metres"),
    ReasonCode.GRAVITY_FEET: Entry("feet?", "the markers are likely spaced in feet, not metres"),
    ReasonCode.GRAVITY_UNEXPLAINED: Entry(
        "frame rate or spacing wrong",
        "either the true frame rate is {rate_fps:.3g} a second, not {assumed_fps:.4g} "
        "(capture_fps, on the page Field), or what is taped as 10 m is {ten_metres:.3g} m",
    ),
    ReasonCode.STRAINS_HEIGHT: Entry(
        "height of the release?",
        "the ball does not start at the stated height (the fit moves it by {off_u:.0f} standard "
        "uncertainties): check height_m under [release], and that the markers' pixels are those of "
        "this clip",
    ),
    ReasonCode.STRAINS_RELEASE: Entry(
        "release or markers?",
        "the ball does not start at the stated release (the fit moves it by {off_u:.0f} standard "
        "uncertainties): check that the markers' pixels are those of this clip, and along_m and "
        "across_m under [release]",
    ),
    ReasonCode.STRAINS_BALL: Entry(
        "another ball?",
        "the ball flies with a drag coefficient of {drag:.2f} where {stated:.2f} is stated: check "
        "[ball], and the wind under [air], in metres a second",
    ),
    ReasonCode.MARKER_LEFT_OUT: Entry(
        "marker left out",
        "one marker contradicts all the others and was left out (see the note on the clip)",
        NO_FIGURE,
    ),
    ReasonCode.CAMERA_CONTRADICTED: Entry(
        "camera contradicted",
        "what is stated of the camera and its markers contradicts itself, so the uncertainties "
        "were enlarged (see the note on the clip)",
        NO_FIGURE,
    ),
    ReasonCode.ANOTHER_VIEW: Entry(
        "camera moved?",
        "the markers' pixels seem to be those of another view, so pick them anew for this clip",
    ),
}

_STARTS = {
    ReasonCode.STARTS_ELSEWHERE: Entry(
        "starts elsewhere",
        f"its first detection counts as its release: {START}, which is not the launcher's "
        "release point",
        NO_FIGURE,
    ),
    ReasonCode.STARTS_AT_EDGE: Entry(
        "enters in flight",
        f"it entered the frame in flight, and its first detection counts as its release: {START}",
        AT_RELEASE,
    ),
    ReasonCode.STARTS_IN_AIR: Entry(
        "release hidden",
        f"its release is hidden, and its first detection counts as its release: {START}",
        AT_RELEASE,
    ),
    ReasonCode.STARTS_WITH_CLIP: Entry(
        "clip starts in flight",
        "it was in flight in the clip's first frames, and its first detection counts as its "
        f"release: {START}",
        AT_RELEASE,
    ),
}

_SCALE = (
    "gravity is the scale: the camera stood {away:pm} m from the firing line, and the azimuth is "
    "only assumed"
)

_SCALES = {
    ReasonCode.GRAVITY_IS_SCALE: Entry(
        "gravity is the scale", f"no marker was taped, so {_SCALE}", frozenset({Figure.AZIMUTH})
    ),
    ReasonCode.GRAVITY_IS_SCALE_FEW_MARKERS: Entry(
        "gravity is the scale",
        f"too few markers fix the camera, so {_SCALE}",
        frozenset({Figure.AZIMUTH}),
    ),
    ReasonCode.TAPE_ONE_DISTANCE: Entry(
        "tape one distance",
        "one distance taped to {taped_u_cm:.0f} cm, from the foot of the release to a mark "
        "{distance_m:g} m down the line, would reduce the standard uncertainty of the exit speed "
        "from {before_mps:.2g} to {after_mps:.2g} m/s",
        NO_FIGURE,
    ),
    ReasonCode.MARKERS_AGAINST_FALL: Entry(
        "markers against the fall",
        "its fall contradicts the markers as they were taped, so each counts as known to a metre "
        "only: check where each marker was taped, and its pixel",
    ),
    ReasonCode.BEGINS_FAINT: Entry(
        "begins faint",
        "the ball is faint where its path begins, so it may have been released earlier",
        AT_RELEASE,
    ),
    ReasonCode.TOO_CLOSE: Entry(
        "too close",
        "something fell here that would be {diameter_px:.0f} px across: too close to be measured "
        "(at most {most_px:.0f} px)",
    ),
    ReasonCode.BEGINS_AT_EDGE: Entry(
        "begins at the edge",
        "the path begins at the frame's edge, so the release may lie outside the frame",
        AT_RELEASE,
    ),
    ReasonCode.BALL_PRESUMED: Entry(
        "ball presumed",
        "no ball was stated (--ball), and this one's size and fall are those of one {least_cm:.0f} "
        "to {most_cm:.0f} cm across, so it is taken to be",
    ),
    ReasonCode.CLOCK_PRESUMED: Entry(
        "slow motion presumed",
        "the file does not say that it plays slower than life, but its ball's width and fall agree "
        "at {rate_fps:g} frames a second only, {times:.3g} times as many as the file shows: state "
        "them on the page Field, or as --capture-fps {rate_fps:g}",
    ),
    ReasonCode.CLOCK_UNSURE: Entry(
        "no slow motion",
        "it is not as wide as a ball that falls so if the clip plays slower than life",
    ),
}

_DECISIONS = {
    ReasonCode.ACCEPTED_BY_HAND: Entry("accepted by hand", "a person accepted it", NO_FIGURE),
    ReasonCode.REJECTED_BY_HAND: Entry("rejected by hand", "a person rejected it", rejects=True),
    ReasonCode.ADDED_BY_HAND: Entry(
        "added by hand", "a person added it by places of the ball", NO_FIGURE
    ),
    ReasonCode.LANDING_BY_HAND: Entry("landing by hand", "a person gave its landing", NO_FIGURE),
    ReasonCode.RELEASE_BY_HAND: Entry("release by hand", "a person gave its release", NO_FIGURE),
    ReasonCode.HAND_DISAGREES: Entry(
        "film and hand disagree",
        "what a person gave lies {off_u:.1f} standard uncertainties from what the film shows: one "
        "of the two is wrong",
    ),
}

_REJECTED_ROWS = {
    ReasonCode.NOT_MEASURED: Entry(
        "not measured", "a shot seems to be here and could not be measured", rejects=True
    ),
    ReasonCode.NOT_A_BALL: Entry(
        "not a ball",
        "its positions scatter by {scatter_px:.1f} px about any flight, too much for a ball "
        "{diameter_px:.1f} px across: a bird, or the camera position or a marker is wrong",
        rejects=True,
    ),
    ReasonCode.PARTS_OF_ANIMAL: Entry(
        "person or animal",
        "its positions scatter far more than the image noise explains and hardly stand out from "
        "what moves around them: parts of a person or an animal",
        rejects=True,
    ),
    ReasonCode.SOMETHING_ELSE: Entry(
        "something else",
        "something else that moves explains it better than a ball: it was found in {frames:.0f} of "
        "the {crossed:.0f} frames it crossed, a ball would have been found in {expected:.0f} of "
        "them as one compact spot of the same brightness",
        rejects=True,
    ),
    ReasonCode.NEITHER_END: Entry(
        "seen at neither end",
        "it was first seen {away_m:.1f} m from the release and not seen to land, where a ball "
        "would have been seen: it started elsewhere",
        rejects=True,
    ),
    ReasonCode.OFF_AIM: Entry(
        "off the firing line",
        "it starts {aside_deg:.0f}° off the firing line, where no launcher aims: a bird, or the "
        "firing line was taped in another direction",
        rejects=True,
    ),
}

_REJECTIONS = {
    ReasonCode.DETECTIONS_FEW: Entry(
        "few detections", "only {hits:.0f} frames show something where the ball should be"
    ),
    ReasonCode.DETECTIONS_SHARE: Entry(
        "own path",
        "{hits:.0f} of the {crossed:.0f} frames it would have crossed show something where the "
        "ball should be: it moves along a path of its own",
    ),
    ReasonCode.CHANCE: Entry(
        "chance",
        "chance explains as well what was found along it, since much else moves there",
    ),
    ReasonCode.OUT_OF_FRAME: Entry(
        "outside the frame", "the flight lies inside fewer than three frames of the clip"
    ),
    ReasonCode.PICTURES_FEW: Entry(
        "no picture of a ball",
        "a picture like the ball's was measured in {count:.0f} of the {crossed:.0f} frames that "
        "the flight crosses",
    ),
    ReasonCode.POSITIONS_DISAGREE: Entry(
        "positions disagree",
        "its positions agree with one flight in {count:.0f} of the {crossed:.0f} frames that it "
        "crosses",
        rejects=True,
    ),
    ReasonCode.NO_FIT: Entry("no fit", "no flight fits its positions"),
    ReasonCode.SCATTER_TOO_LARGE: Entry(
        "positions scatter", "its positions scatter about any flight far more than a ball's do"
    ),
    ReasonCode.SPEED_IMPLAUSIBLE: Entry(
        "implausible speed", "gravity gives it a speed of {speed_mps:.1f} m/s, which is no throw"
    ),
    ReasonCode.DISTANCE_IMPLAUSIBLE: Entry(
        "implausible distance",
        "gravity places it {away_m:.1f} m from the camera, from where no shot is filmed",
    ),
    ReasonCode.WRONG_WAY: Entry(
        "wrong way", "it flies against the firing line, as seen from the camera's side"
    ),
    ReasonCode.TOO_SHORT: Entry("too short", "it flies only {way_m:.1f} m"),
    ReasonCode.OFF_FIELD: Entry(
        "off the field", "gravity places its start {off_m:.0f} m outside the field that was taped"
    ),
    ReasonCode.BELOW_GROUND: Entry("below ground", "it would fly below the ground"),
    ReasonCode.IMPLAUSIBLE: Entry(
        "implausible path", "no likely ball, wind and spin explain its path"
    ),
    ReasonCode.RISES_FROM_GROUND: Entry(
        "rises from the ground", "it rises from the ground: a hop, or a ball that is kicked"
    ),
    ReasonCode.ON_GROUND: Entry("on the ground", "it moves over the ground"),
    ReasonCode.TOO_FEW_FRAMES: Entry(
        "too few frames", "it was found in only {frames:.0f} frames, and may start anywhere"
    ),
    ReasonCode.SPEED_UNKNOWN: Entry(
        "speed unknown", "its positions leave its speed so uncertain that they may be anything's"
    ),
    ReasonCode.RAGGED: Entry(
        "ragged",
        "its positions are ragged and hardly stand out: parts of something else that moves",
    ),
    ReasonCode.FAINT: Entry(
        "faint and patchy",
        "it was found in {frames:.0f} of the {crossed:.0f} frames that it crossed and hardly "
        "stands out there: parts of something else that moves",
    ),
}

_ONLY_POSITIONS = {
    ReasonCode.DOES_NOT_FALL: Entry(
        "does not fall", "its path does not bend downward as that of a thrown ball does"
    ),
    ReasonCode.SIZE_DISAGREES: Entry(
        "size disagrees",
        "it is not as wide in the frame as the ball would be on this way (--ball for another)",
    ),
    ReasonCode.RUNS_ON: Entry(
        "moves on smoothly",
        "it moved on smoothly before or after it fell, as a bird does between two wing beats",
    ),
    ReasonCode.CAMERA_NOT_FOLLOWED: Entry(
        "camera not followed",
        "the background could not be followed while it flew, since the camera moved or zoomed, or "
        "hardly anything in the picture stands still: rest the camera on something firm, with "
        "ground, a fence or a house in the picture",
    ),
    ReasonCode.BEYOND_LANDING: Entry(
        "seen beyond its landing",
        "it was seen on its path for {beyond_s:.2f} s after the fitted flight came down",
    ),
    ReasonCode.POSITIONS_BY_CHANCE: Entry(
        "chance",
        "chance explains as well where it was found, since much else moves around it",
    ),
}
"""Why a flight that only its own positions support is none."""

_REPEATED = {
    ReasonCode.SAME_DETECTIONS: Entry(
        "same detections", "its detections are those of the shot released at {release_s:.2f} s"
    ),
    ReasonCode.BORROWED_POSITIONS: Entry(
        "borrowed positions", "its positions are those of the shot released at {release_s:.2f} s"
    ),
    ReasonCode.DUPLICATE: Entry(
        "duplicate", "it is the shot released at {release_s:.2f} s, found again"
    ),
    ReasonCode.HOP: Entry("hop", "it is a hop of the shot released at {release_s:.2f} s"),
}

CATALOGUE: dict[ReasonCode, Entry] = (_DOUBTS | _STARTS | _SCALES | _DECISIONS | _REJECTED_ROWS) | (
    _REJECTIONS | _ONLY_POSITIONS | NO_SHOT | _REPEATED
)
