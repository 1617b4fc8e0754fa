"""The codes of all reasons, and the figures that a reason can spoil."""

from enum import StrEnum


class Figure(StrEnum):
    """What is measured of a shot, as far as a reason can spoil one without the other."""

    SPEED = "speed"
    ANGLE = "angle"
    AZIMUTH = "azimuth"
    CARRY = "carry"
    LANDING = "landing"
    APEX = "apex"
    TIME = "time"


FIGURE_OF_COLUMN = {
    "exit_speed_mps": Figure.SPEED,
    "launch_angle_deg": Figure.ANGLE,
    "azimuth_deg": Figure.AZIMUTH,
    "carry_m": Figure.CARRY,
    "landing_along_m": Figure.LANDING,
    "landing_across_m": Figure.LANDING,
    "landing_speed_mps": Figure.LANDING,
    "landing_angle_deg": Figure.LANDING,
    "apex_m": Figure.APEX,
    "flight_time_s": Figure.TIME,
}
"""The figure of each measured column of ``shots.csv``."""

NO_FIGURE: frozenset[Figure] = frozenset()
EVERY_FIGURE = frozenset(Figure)
DOWNRANGE = frozenset({Figure.CARRY, Figure.LANDING, Figure.TIME})
AT_RELEASE = frozenset({Figure.SPEED, Figure.ANGLE, Figure.AZIMUTH, Figure.CARRY, Figure.TIME})


class ReasonCode(StrEnum):
    """The codes, as ``shots.json`` holds them."""

    LANDING_NOT_SEEN = "landing_not_seen"
    STOPPED = "stopped"
    NEVER_LANDS = "never_lands"
    FEW_FRAMES = "few_frames"
    LOW_SHARE = "low_share"
    SPEED_UNCERTAIN = "speed_uncertain"
    SCATTER = "scatter"
    INNOVATIONS = "innovations"
    FIT_NOT_SETTLED = "fit_not_settled"
    FRAME_TIMES = "frame_times"
    CAMERA_LOST = "camera_lost"
    GRAVITY_OFF = "gravity_off"
    GRAVITY_FRAME_RATE = "gravity_frame_rate"
    GRAVITY_YARDS = "gravity_yards"
    GRAVITY_FEET = "gravity_feet"
    GRAVITY_UNEXPLAINED = "gravity_unexplained"
    STRAINS_HEIGHT = "strains_height"
    STRAINS_RELEASE = "strains_release"
    STRAINS_BALL = "strains_ball"
    MARKER_LEFT_OUT = "marker_left_out"
    CAMERA_CONTRADICTED = "camera_contradicted"
    ANOTHER_VIEW = "another_view"

    STARTS_ELSEWHERE = "starts_elsewhere"
    STARTS_AT_EDGE = "starts_at_edge"
    STARTS_IN_AIR = "starts_in_air"
    STARTS_WITH_CLIP = "starts_with_clip"

    GRAVITY_IS_SCALE = "gravity_is_scale"
    GRAVITY_IS_SCALE_FEW_MARKERS = "gravity_is_scale_few_markers"
    TAPE_ONE_DISTANCE = "tape_one_distance"
    MARKERS_AGAINST_FALL = "markers_against_fall"
    BEGINS_FAINT = "begins_faint"
    TOO_CLOSE = "too_close"
    BEGINS_AT_EDGE = "begins_at_edge"
    BALL_PRESUMED = "ball_presumed"
    CLOCK_PRESUMED = "clock_presumed"
    CLOCK_UNSURE = "clock_unsure"

    ACCEPTED_BY_HAND = "accepted_by_hand"
    REJECTED_BY_HAND = "rejected_by_hand"
    ADDED_BY_HAND = "added_by_hand"
    LANDING_BY_HAND = "landing_by_hand"
    RELEASE_BY_HAND = "release_by_hand"
    HAND_DISAGREES = "hand_disagrees"

    NOT_MEASURED = "not_measured"
    NOT_A_BALL = "not_a_ball"
    PARTS_OF_ANIMAL = "parts_of_animal"
    OFF_AIM = "off_aim"
    SOMETHING_ELSE = "something_else"
    NEITHER_END = "neither_end"

    DETECTIONS_FEW = "detections_few"
    DETECTIONS_SHARE = "detections_share"
    CHANCE = "chance"
    OUT_OF_FRAME = "out_of_frame"
    PICTURES_FEW = "pictures_few"
    POSITIONS_DISAGREE = "positions_disagree"
    NO_FIT = "no_fit"
    SCATTER_TOO_LARGE = "scatter_too_large"
    SPEED_IMPLAUSIBLE = "speed_implausible"
    DISTANCE_IMPLAUSIBLE = "distance_implausible"
    WRONG_WAY = "wrong_way"
    TOO_SHORT = "too_short"
    OFF_FIELD = "off_field"
    BELOW_GROUND = "below_ground"
    IMPLAUSIBLE = "implausible"
    RISES_FROM_GROUND = "rises_from_ground"
    ON_GROUND = "on_ground"
    TOO_FEW_FRAMES = "too_few_frames"
    SPEED_UNKNOWN = "speed_unknown"
    RAGGED = "ragged"
    FAINT = "faint"
    DOES_NOT_FALL = "does_not_fall"
    RUNS_ON = "runs_on"
    SIZE_DISAGREES = "size_disagrees"
    CAMERA_NOT_FOLLOWED = "camera_not_followed"
    BEYOND_LANDING = "beyond_landing"
    POSITIONS_BY_CHANCE = "positions_by_chance"

    ONLY_REJECTED = "only_rejected"
    NOTHING_FALLS = "nothing_falls"
    NO_THROW_MEASURED = "no_throw_measured"
    LET_GO = "let_go"
    ANOTHER_BALL = "another_ball"
    CAMERA_PRESUMED = "camera_presumed"
    FALLS_SLOWLY = "falls_slowly"
    NO_PATH_FALLS = "no_path_falls"
    FALLS_BRIEFLY = "falls_briefly"
    FALLS_ASLANT = "falls_aslant"
    FALLS_AT_CUT = "falls_at_cut"
    CAMERA_UNSTEADY = "camera_unsteady"
    CLIP_TOO_SHORT = "clip_too_short"
    FRAMES_UNREAD = "frames_unread"
    FRAMES_FAR_APART = "frames_far_apart"
    FALLS_OTHERWISE = "falls_otherwise"
    TAPED_IN_FEET = "taped_in_feet"
    PLAYS_SLOWLY = "plays_slowly"
    PLAYS_AT_LIFE_SPEED = "plays_at_life_speed"
    FLIES_BACKWARD = "flies_backward"
    RELEASE_HEIGHT = "release_height"
    RELEASE_ELSEWHERE = "release_elsewhere"
    ONLY_END_SEEN = "only_end_seen"
    MARKERS_DISAGREE = "markers_disagree"
    MARKERS_MISTAKEN = "markers_mistaken"
    PICKED_ELSEWHERE = "picked_elsewhere"

    SAME_DETECTIONS = "same_detections"
    BORROWED_POSITIONS = "borrowed_positions"
    DUPLICATE = "duplicate"
    HOP = "hop"
