"""From the facts of a plan to a stand and its expected shots, usual values for what is missing."""

from dataclasses import dataclass, replace

import numpy as np

from calibration.markers import Marker
from calibration.site import Site
from tracker.fitting import Conditions
from tracker.statistics.components import Estimate
from tracker.vantage.shots import AZIMUTH_U_DEG, ExpectedShots, expected_shots
from tracker.vantage.stand import CONTRAST, NOISE, Stand

Triple = tuple[float, float, float]

SHUTTERS_S = tuple(1.0 / n for n in (30, 60, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 32000))
"""Usual shutter times, s (the scale of shutter speeds that cameras offer)."""

SPACING_M = 10.0
"""Spacing of markers along the firing line where none are planned, m: README's advice."""

USUAL_ACROSS_M, USUAL_UP_M = -30.0, 1.5
"""Where a tripod stands when nobody says, m: README's advice, half way along the carry."""

CLEAR_M = 10.0
"""Distance from the line of fire within which nobody stands, m, where no other is planned (common
practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Plain facts of a plan.

    Attributes
    ----------
    site : Site
        What will be known of the camera; its markers' pixels and its position count for nothing.
        Without markers one every `SPACING_M` is assumed.
    conditions : Conditions
        Ball, air, release and readout.
    speed_mps, angle_deg : Estimate
        Of the next shot.
    fps : float
        True frames a second.
    position_m : tuple of float, or None
        Along, across, up of the camera; a usual place for None.
    position_taped : bool
        Whether that place will be taped.
    aim_m : tuple of float, or None
        Point that the camera is aimed at; the middle of all that must be in view for None.
    shutter_s : float or None
        The longest usual one that does not smear the ball for None.
    contrast, noise : float
        See `tracker.vantage.stand`.
    clear_m : float
        Distance from the line of fire within which nobody stands.
    """

    site: Site
    conditions: Conditions
    speed_mps: Estimate
    angle_deg: Estimate
    fps: float
    position_m: Triple | None = None
    position_taped: bool = True
    aim_m: Triple | None = None
    shutter_s: float | None = None
    contrast: float = CONTRAST
    noise: float = NOISE
    clear_m: float = CLEAR_M


@dataclass(frozen=True)
class Assumption:
    """A usual value in place of one that is not stated.

    Attributes
    ----------
    table : str
        Of ``session.toml``, where to state another.
    text : str
        Field and value.
    """

    table: str
    text: str


def stand_of(plan: Plan) -> tuple[Stand, ExpectedShots, tuple[Assumption, ...]]:
    """Return the stand and the expected shots of a plan, and what was assumed.

    Raises
    ------
    InputError
        Where the expected ball would not come down.
    """
    shots = expected_shots(
        plan.conditions, plan.speed_mps, plan.angle_deg, Estimate(0.0, AZIMUTH_U_DEG)
    )
    assumed = []
    markers = tuple(replace(marker, pixel=None) for marker in plan.site.markers)
    if not markers:
        markers = _usual_markers(shots)
        last = markers[-1].ground_m[0]
        text = f"every {SPACING_M:g} m of the firing line, 0 to {last:g} m"
        assumed.append(Assumption("[[marker]]", text))
    shutter_s = plan.shutter_s
    if shutter_s is None:
        shutter_s = _usual_shutter(plan)
        assumed.append(Assumption("[planned]", f"shutter_s {shutter_words(shutter_s)}"))
    position = plan.position_m
    if position is None:
        position = (float(shots.landing_m[0]) / 2.0, USUAL_ACROSS_M, USUAL_UP_M)
        text = ", ".join(f"{value:.1f}" for value in position)
        assumed.append(Assumption("[camera]", f"position_m [{text}]"))
    taped = np.array(position) if plan.position_taped else None
    stand = Stand(
        site=replace(plan.site, markers=markers, position_m=taped),
        position_m=np.array(position),
        target_m=None if plan.aim_m is None else np.array(plan.aim_m),
        fps=plan.fps,
        shutter_s=shutter_s,
        contrast=plan.contrast,
        noise=plan.noise,
        conditions=plan.conditions,
    )
    return stand, shots, tuple(assumed)


def shutter_words(seconds: float) -> str:
    """Return ``"1/1000 s"``."""
    return f"1/{1.0 / seconds:.0f} s" if seconds < 0.5 else f"{seconds:.2g} s"


def _usual_shutter(plan: Plan) -> float:
    """Return the longest usual shutter time in which the ball moves by less than its width."""
    longest = plan.conditions.ball.diameter_m / plan.speed_mps.value
    usual = (one for one in SHUTTERS_S if one <= min(longest, 1.0 / plan.fps))
    return next(usual, longest)


def _usual_markers(shots: ExpectedShots) -> tuple[Marker, ...]:
    last = max(SPACING_M, SPACING_M * round(float(shots.landing_m[0]) / SPACING_M))
    return tuple(
        Marker(f"{along:g} m", np.array([along, 0.0, 0.0]))
        for along in np.arange(0.0, last + 0.1, SPACING_M)
    )
