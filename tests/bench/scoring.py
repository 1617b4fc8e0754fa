"""Measured shots held against known truth, and against the best that the clip allows."""

import math
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from calibration.site import Calibration
from calibration.timebase import row_fraction
from tests.bench.split import Split, timed
from tests.tracker.cramer_rao import cramer_rao
from tests.truths import camera_from_truth, read_truth
from tracker.fitting import PARAMETERS, circumstances_of
from tracker.fitting.observations import Instants
from tracker.fitting.parameters import CAMERA_AT, FADE_AT, READOUT_AT
from tracker.flight.forces import Forces
from tracker.measurement import measure
from tracker.measurement.request import ClipRequest
from tracker.measurement.starts import ReleaseStart
from tracker.records import Quality, Shot
from tracker.session import Session, read_session
from tracker.video import inspect
from tracker.workflow.stand import calibrate, request_of

FIGURES = ("exit_speed_mps", "launch_angle_deg", "carry_m")
MATCH_S = 0.3


@dataclass(frozen=True)
class Scored:
    """One true shot: the row that was measured for it, or None, and what could be had at best."""

    clip: str
    truth: dict[str, Any]
    shot: Shot | None
    bound: dict[str, float]

    def error(self, figure: str) -> float:
        value = None if self.shot is None else getattr(self.shot, figure)
        return math.nan if value is None else value - self.truth[figure]

    def z(self, figure: str) -> float:
        if self.shot is None:
            return math.nan
        name, unit = figure.rsplit("_", 1)
        spread = getattr(self.shot, f"{name}_u_{unit}")
        return math.nan if not spread else self.error(figure) / spread


@dataclass(frozen=True)
class ClipScore:
    """One clip: its true shots, the rows that no shot answers to, and the time it took."""

    name: str
    shots: tuple[Scored, ...]
    false: int
    split: Split
    frames: int


def score_session(folder: Path) -> list[ClipScore]:
    """Measure every clip of a session with truth beside it."""
    session = read_session(folder)
    truth = {clip["file"]: clip for clip in read_truth(folder / "truth.json")["clips"]}
    scores = []
    for clip in session.clips:
        facts = inspect(clip.path, session.camera.capture_fps)
        calibration = calibrate(session, clip, facts.size_px)
        request = request_of(session, clip)
        result, split = timed(
            facts, partial(measure, facts, request, ReleaseStart(calibration.camera))
        )
        # A row reported as rejected is neither a shot found nor a false one.
        rows = [each.shot for each in result.shots if each.shot.quality is not Quality.REJECTED]
        label = f"{folder.name}/{Path(clip.file).stem}"
        scored = []
        for true in truth[clip.file]["shots"]:
            row = min(rows, key=lambda r: abs(r.release_s - true["release_s"]), default=None)
            if row is not None and abs(row.release_s - true["release_s"]) > MATCH_S:
                row = None
            if row is not None:
                rows.remove(row)
            bound = best_possible(session, truth[clip.file], true, request, calibration)
            scored.append(Scored(label, true, row, bound))
        scores.append(ClipScore(label, tuple(scored), len(rows), split, facts.frame_count))
    return scores


def best_possible(
    session: Session,
    clip: dict[str, Any],
    true: dict[str, Any],
    request: ClipRequest,
    calibration: Calibration,
) -> dict[str, float]:
    """Return the Cramér-Rao bound of a rendered shot from the truth that lies beside it."""
    camera = camera_from_truth(clip["camera"]).with_covariance(calibration.camera.covariance)
    known = circumstances_of(camera, request)
    area = math.pi * (true["diameter_mm"] / 2000.0) ** 2
    ball_volume = math.pi / 6.0 * (true["diameter_mm"] / 1000.0) ** 3
    displaced = true["air_density_kgpm3"] * ball_volume
    moved = true["mass_g"] / 1000.0 + 0.5 * displaced
    reach = true["air_density_kgpm3"] * area / (2.0 * moved)
    weight = true["gravity_mps2"] * (moved - 1.5 * displaced) / moved
    known = replace(
        known,
        forces=Forces(reach, weight),
        ball_radius_m=true["diameter_mm"] / 2000.0,
        # A flight can show that its air was steady: the bound is that of steady air.
        gust_u_mps=0.0,
    )
    track = true["track"]
    shown = np.array(track["visible"], bool)
    xx, xy, yy = np.array(track["bound_px2"], float)[shown].T
    covariances = np.stack([np.stack([xx, xy], 1), np.stack([xy, yy], 1)], 1)
    pixels = np.column_stack([track["column_px"], track["row_px"]])[shown]
    share = row_fraction(pixels, camera.size_px, clip["rotation_deg"])
    # The truth's times are those of the ball's own row, so the readout is taken out again.
    times = np.array(track["time_s"], float)[shown] - clip["readout_s"] * share
    parameters = np.zeros(len(PARAMETERS))
    parameters[0] = true["true_release_s"]
    parameters[1:4] = true["release_m"]
    speed = true["exit_speed_mps"]
    angle, turn = math.radians(true["launch_angle_deg"]), math.radians(true["azimuth_deg"])
    parameters[4] = speed * math.cos(angle) * math.cos(turn)
    parameters[5] = speed * math.cos(angle) * math.sin(turn)
    parameters[6] = speed * math.sin(angle)
    tilt = math.radians(true["spin_tilt_deg"])
    parameters[7] = true["drag_coefficient"]
    parameters[8] = true["lift_coefficient"] * math.cos(tilt)
    parameters[9] = true["lift_coefficient"] * math.sin(tilt)
    parameters[10:12] = true["wind_mps"][:2]
    parameters[FADE_AT] = true.get("lift_fade", 0.0)
    parameters[READOUT_AT] = clip["readout_s"]
    parameters[CAMERA_AT:] = 0.0
    return cramer_rao(known, parameters, Instants(times, share, np.zeros(len(times))), covariances)


def rms(values: list[float]) -> float:
    """Return the root mean square of what is finite."""
    finite = np.array([value for value in values if math.isfinite(value)])
    return float(np.sqrt(np.mean(finite**2))) if len(finite) else math.nan
