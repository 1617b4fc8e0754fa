"""A person's decisions applied to what was measured."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from calibration.adjustment import NotDetermined
from tracker.fitting.ends import GivenEnds, GivenPlace, GivenTime
from tracker.fitting.parameters import RELEASE_AT
from tracker.measurement.by_hand import steadied, with_ends
from tracker.measurement.fitted_shot import Basis, FittedShot
from tracker.records import Quality, Reason, ReasonCode, Rejection, Shot
from tracker.results.matching import paired
from tracker.session import Decision, StatedEnds, Verdict
from tracker.session.stated import PICKED_U_FRAMES
from tracker.workflow.measured import MeasuredClip

CODES = {
    Verdict.REJECT: (ReasonCode.REJECTED_BY_HAND, Quality.REJECTED),
    Verdict.ACCEPT: (ReasonCode.ACCEPTED_BY_HAND, Quality.GOOD),
}
"""Reason and quality that each verdict gives."""

FITS_NO_FLIGHT = "fits no flight with that"

NEEDED = ("exit_speed_mps", "carry_m")
"""Figures without which a row cannot be accepted."""


def decide(
    clips: Iterable[MeasuredClip], decisions: Sequence[Decision]
) -> tuple[tuple[MeasuredClip, ...], tuple[str, ...]]:
    """Return the clips with a person's decisions applied, and notes on those that were not.

    Parameters
    ----------
    clips : iterable of MeasuredClip
        With the shots that a person added.
    decisions : sequence of Decision
    """
    decided = []
    used: set[Decision] = set()
    notes: list[str] = []
    for clip in clips:
        shots = list(clip.shots)
        for index, decision in matched([one.shot for one in shots], decisions).items():
            used.add(decision)
            shots[index] = _applied(shots[index], decision, notes)
        decided.append(replace(clip, shots=tuple(shots)))
    notes += [unmatched_note(one) for one in decisions if one not in used]
    return tuple(decided), tuple(notes)


def matched(shots: Sequence[Shot], decisions: Iterable[Decision]) -> dict[int, Decision]:
    """Return, by the index of a shot, the decision about it.

    Parameters
    ----------
    shots : sequence of Shot
        Of any clips.
    decisions : iterable of Decision
    """
    found: dict[int, Decision] = {}
    listed = list(decisions)
    for file in dict.fromkeys(shot.clip for shot in shots):
        indices = [index for index, shot in enumerate(shots) if shot.clip == file]
        mine = [decision for decision in listed if decision.clip == file]
        pairs = paired([shots[i].release_s for i in indices], [one.release_s for one in mine])
        found |= {indices[i]: mine[j] for i, j in pairs.items()}
    return found


def unmatched_note(decision: Decision) -> str:
    """Return the note on a decision that fits no shot."""
    return (
        f"{decision.where}: no shot of {decision.clip} was released at {decision.release_s:g} s; "
        "the decision is kept and changes nothing"
    )


def _applied(measured: FittedShot, decision: Decision, notes: list[str]) -> FittedShot:
    if decision.ends:
        measured = _moved(measured, decision, notes)
    shot = measured.shot
    if decision.setup is not None:
        shot = replace(shot, setup=decision.setup)
    if _lacks_figures(shot, decision):
        notes.append(
            f"{decision.where}: shot {shot.shot} of {shot.clip} has no figures, so it cannot be "
            "accepted"
        )
    elif decision.verdict is not None:
        code, quality = CODES[decision.verdict]
        reasons = (Reason(code, words=decision.reason), *shot.reasons)
        shot = replace(shot, quality=quality, reasons=reasons)
    return replace(measured, shot=shot)


def _moved(measured: FittedShot, decision: Decision, notes: list[str]) -> FittedShot:
    """Return a shot fitted with what is stated of its ends; as it was where no flight fits."""
    shot = measured.shot
    why = "has no figures"
    if measured.basis is not None:
        try:
            return with_ends(measured, *given_ends(decision.ends, measured, measured.basis))
        except (Rejection, NotDetermined, ArithmeticError, ValueError):
            why = FITS_NO_FLIGHT
    notes.append(unfitted_note(decision, shot, why))
    return measured


def unfitted_note(decision: Decision, shot: Shot, why: str = FITS_NO_FLIGHT) -> str:
    """Return the note on a release or landing that cannot be fitted."""
    return (
        f"{decision.where}: shot {shot.shot} of {shot.clip} {why}, so its release and landing stay "
        "as they were measured"
    )


def as_decided(shot: Shot, decision: Decision | None) -> Shot:
    """Return a shot with the quality that a verdict gives it."""
    if decision is None or decision.verdict is None or _lacks_figures(shot, decision):
        return shot
    return replace(shot, quality=CODES[decision.verdict][1])


def _lacks_figures(shot: Shot, decision: Decision) -> bool:
    """Return whether a row without figures is to be accepted."""
    accepts = decision.verdict is Verdict.ACCEPT
    return accepts and any(getattr(shot, name) is None for name in NEEDED)


def given_ends(
    ends: StatedEnds, measured: FittedShot, basis: Basis
) -> tuple[GivenEnds, GivenTime | None]:
    """Return what a person stated of a shot's ends as its fit takes it.

    Parameters
    ----------
    ends : StatedEnds
        Its times are on the clip's own clock.
    measured : FittedShot
    basis : Basis
    """
    fitted_s = float(basis.traced.fitted.parameters[RELEASE_AT])
    pace, u_s = basis.context.facts.pace, PICKED_U_FRAMES * basis.context.frame_s

    def true(at_s: float | None) -> GivenTime | None:
        if at_s is None:
            return None
        return GivenTime(fitted_s + (at_s - measured.shot.release_s) / pace, u_s)

    track = basis.traced.observed.track
    landed, released = true(ends.landing_s), true(ends.moved_release_s)
    last_s, first_s = float(track.times_s[-1]), float(track.times_s[0])
    given = GivenEnds(
        landing_m=_place(ends.landing_m, ends.landing_u_m),
        landing_px=steadied(
            _place(ends.landing_px, ends.landing_px_u),
            last_s if landed is None else landed.at_s,
            track,
        ),
        release_px=steadied(
            _place(ends.release_px, ends.release_px_u),
            first_s if released is None else released.at_s,
            track,
        ),
        release_s=released,
    )
    return given, landed


def _place(at: tuple[float, float] | None, u: float) -> GivenPlace | None:
    return None if at is None else GivenPlace(at, u)
