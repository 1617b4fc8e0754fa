"""What may have been written down wrongly, and what is known of a shot in the units that follow.

Lengths in another unit, and a file that plays slower than life, both change gravity in the
session's units.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracker.fitting import Circumstances
from tracker.fitting.gravity import FOOT_M, RATES
from tracker.flight.forces import Forces
from tracker.following.arcs import Arc
from tracker.measurement.context import ClipContext
from tracker.measurement.starts.field import Field
from tracker.records import Reason, ReasonCode

LEAST_FACTOR = 1.5
"""Least factor between the pace of a file and the stated one: a smaller one still gives shots, with
gravity off."""

LEAST_BEND = 0.25
"""How much of its speed a path gains downward that may be a flight in slow motion: what rolls or
walks past goes nearly straight, and any pace would explain it. A shot at 20 m/s does within half a
second. Common practice, no source."""

NEAR_LINE, NEAR_FIELD, ASIDE_U = 2.5, 1.6, 3.0
"""Factors within which gravity must place a path on the firing line, or on the field with so many
standard uncertainties of its width on either side. Drag adds to the fall, a flight towards the
camera hides some of it, so a rough check spares a fit only where it would be hopeless."""


@dataclass(frozen=True)
class Hypothesis:
    """What may have been written down wrongly.

    Attributes
    ----------
    reason : Reason or None
        None for the session as it is written.
    unit_m : float
        Length of what is called a metre, m.
    slower : float
        Times that the file plays slower than stated.
    """

    reason: Reason | None
    unit_m: float = 1.0
    slower: float = 1.0


def hypotheses(context: ClipContext) -> Sequence[Hypothesis]:
    """Return what may have been written down wrongly, the session as it is first."""
    fps, pace = 1.0 / context.frame_s, context.facts.pace
    found = [Hypothesis(None), Hypothesis(Reason(ReasonCode.TAPED_IN_FEET), FOOT_M)]
    if pace > LEAST_FACTOR:
        found.append(Hypothesis(Reason(ReasonCode.PLAYS_AT_LIFE_SPEED), slower=1.0 / pace))
    for rate in RATES:
        # As written, or as the file plays, the clip is looked at anyhow.
        faster, slower = rate > LEAST_FACTOR * fps, LEAST_FACTOR * rate < fps
        if faster or (slower and rate > LEAST_FACTOR * fps / pace):
            numbers = {"rate_fps": rate, "assumed_fps": fps}
            reason = Reason(ReasonCode.PLAYS_SLOWLY, numbers)
            found.append(Hypothesis(reason, slower=rate / fps))
    return found


def scaled_context(context: ClipContext, hypothesis: Hypothesis) -> ClipContext:
    """Return a context in the session's units of length and time as a hypothesis has them."""
    scaled = scaled_circumstances(context.circumstances, hypothesis)
    return context.with_circumstances(scaled)


def scaled_circumstances(known: Circumstances, hypothesis: Hypothesis) -> Circumstances:
    """Return what is known of a shot in other units.

    With a metre that is really L metres long and a second that is really 1 / k seconds, a length
    counts 1 / L of its own, a speed 1 / (L k) and an acceleration 1 / (L k²).
    """
    length, slower = hypothesis.unit_m, hypothesis.slower
    speed, acceleration = 1.0 / (length * slower), 1.0 / (length * slower**2)
    forces = known.forces
    curve = forces.drag_curve
    return replace(
        known,
        forces=Forces(
            forces.reach_per_m * length,
            forces.gravity_mps2 * acceleration,
            None if curve is None else (tuple(speed * each for each in curve[0]), curve[1]),
        ),
        gravity_u_mps2=known.gravity_u_mps2 * acceleration,
        wind_mps=(known.wind_mps[0] * speed, known.wind_mps[1] * speed),
        wind_u_mps=known.wind_u_mps * speed,
        gust_u_mps=known.gust_u_mps * speed,
        ball_radius_m=known.ball_radius_m / length,
        readout_s=known.readout_s * slower,
        readout_u_s=known.readout_u_s * slower,
    )


def bends(arc: Arc) -> bool:
    """Return whether a path gains enough downward speed to be a flight in slow motion."""
    gained = float(arc.acceleration_pxps2[1]) * arc.duration_s
    return gained > LEAST_BEND * float(np.linalg.norm(arc.velocity_pxps))


def can_explain(
    hypothesis: Hypothesis, arc: Arc, context: ClipContext, field: Field, on_line: bool
) -> bool:
    """Return whether a hypothesis is worth a fit: whether gravity places the path near the field.

    Parameters
    ----------
    hypothesis : Hypothesis
    arc : Arc
    context : ClipContext
        Of the session as it is written.
    field : Field
    on_line : bool
        Whether the flight starts at the release, along the firing line, or anywhere on the field.
    """
    if hypothesis.slower > 1.0 and not bends(arc):
        return False
    fall_pxps2 = float(arc.acceleration_pxps2[1])
    if fall_pxps2 < 2.0 * arc.acceleration_u_pxps2:
        return hypothesis.reason is None
    camera, gravity = context.camera, context.circumstances.forces.gravity_mps2
    acceleration = gravity / (hypothesis.unit_m * hypothesis.slower**2)
    away = camera.focal_px * acceleration / fall_pxps2
    release = context.circumstances.release_m
    ends = np.array([release, release], float)
    ends[1, :2] = field.middle_m + np.where(field.middle_m < release[:2], -1.0, 1.0) * field.half_m
    ends[1, 1] = release[1]
    depth = np.maximum(camera.in_camera(ends)[:, 2], 1.0)
    factor = NEAR_LINE if on_line else NEAR_FIELD
    aside = 0.0 if on_line else ASIDE_U * float(field.u_m[1])
    least = max(float(depth.min()) - aside, 1.0)
    return least / factor < away < (float(depth.max()) + aside) * factor
