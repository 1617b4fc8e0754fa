"""How well each measurement of a session knew its figures, kept over restarts.

A page shows from it what a step, as five markers picked, gained.

`results/steps.json` holds one entry per measurement, the newest last: what it rested on and the
median standard uncertainty of each figure. A measurement of the same files replaces the last
entry. Everything in it is derived: without it only the comparison is missing.
"""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from calibration.errors import InputError
from tracker.report.answer_words import known_to
from tracker.results import put_in_place, read_provenance
from tracker.session import REVIEW_FILE, SESSION_FILE, Review, Session, read_review
from tracker.workflow.look import Look, look_at

STEPS_FILE = "steps.json"
MOST = 50
"""Measurements that are kept, the newest: more than an evening has. Common practice, no source."""


@dataclass(frozen=True)
class MeasuredStep:
    """One measurement.

    Attributes
    ----------
    stated : str
        What its scale and its shots rest on, in words: ``"5 markers, 2 decisions"``.
    inputs : mapping of str to str
        SHA-256 of ``session.toml`` and ``review.toml`` as they were measured.
    known_to : mapping of str to float
        By column of the standard uncertainty, its median over the shots.
    """

    stated: str
    inputs: Mapping[str, str]
    known_to: Mapping[str, float]


def keep_step(place: Path) -> None:
    """Keep how well the present results know their figures, if they are not kept already.

    Raises
    ------
    InputError
        Where the results cannot be written.
    """
    look = look_at(place)
    step = _present(look)
    if step is None:
        return
    steps = read_steps(look)
    same = bool(steps) and steps[-1].inputs == step.inputs
    if same and not step.stated:
        return
    kept = [*(steps[:-1] if same else steps), step][-MOST:]
    text = json.dumps([asdict(each) for each in kept], indent=1, ensure_ascii=False)
    put_in_place(look.results, {STEPS_FILE: f"{text}\n".encode()})


def read_steps(look: Look) -> tuple[MeasuredStep, ...]:
    """Return the measurements that were kept, the newest last; none where they are unreadable."""
    try:
        entries = json.loads((look.results / STEPS_FILE).read_text(encoding="utf-8"))
        return tuple(_step(entry) for entry in entries)
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return ()


def steps_until_now(look: Look) -> tuple[MeasuredStep, ...]:
    """Return the measurements that were kept, ending with that of the present results."""
    step, steps = _present(look), read_steps(look)
    if step is None:
        return ()
    return steps if steps and steps[-1].inputs == step.inputs else (*steps, step)


def _present(look: Look) -> MeasuredStep | None:
    """Return the step of the present results; None without a figure."""
    known = known_to([shot for shot, _ in look.shots])
    if not look.measured or not known:
        return None
    made_from = read_provenance(look.results / "shots.json").inputs
    inputs = {name: made_from.get(name, "") for name in (SESSION_FILE, REVIEW_FILE)}
    return MeasuredStep("" if look.outdated else _stated(look), inputs, known)


def _stated(look: Look) -> str:
    session = look.session
    if session is None or session.bare:
        return "gravity alone"
    try:
        review = read_review(session)
    except InputError:
        review = Review()
    return ", ".join([_scale(session), *_decided(review)])


def _scale(session: Session) -> str:
    picked = max(
        (sum(one.pixel is not None for one in clip.markers) for clip in session.clips), default=0
    )
    return _many(picked, "marker") if picked else "gravity alone"


def _decided(review: Review) -> list[str]:
    count = len(review.decisions) + len(review.added)
    return [_many(count, "decision")] if count else []


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _step(entry: Mapping[str, Any]) -> MeasuredStep:
    known = {str(name): float(u) for name, u in entry["known_to"].items()}
    inputs = {str(name): str(digest) for name, digest in entry["inputs"].items()}
    return MeasuredStep(str(entry["stated"]), inputs, known)
