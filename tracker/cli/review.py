"""``lobmeter review``."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import typed
from tracker.cli.options import grouped
from tracker.cli.review_flags import ChangeFlags, EndFlags, ShotFlags
from tracker.cli.screen import console, say, sentences, show_json, show_table

if TYPE_CHECKING:
    from tracker.measurement import FittedShot
    from tracker.session import Place, StatedEnds
    from tracker.workflow.review import Reviewed, Wanted

OWN_LINE = "--undo, --take-back, --place, --candidate and a decision"


@grouped
def review(
    session: Annotated[
        Path, typer.Argument(metavar="SESSION", help="Folder of a measured session.")
    ],
    flags: ShotFlags,
    ends: EndFlags,
    changes: ChangeFlags,
) -> None:
    """List the shots with your decisions about them, or decide about one.

    Decisions go into review.toml beside session.toml. A shot is recognised by its time of
    release, so a decision holds however often the session is measured again. One that fits no
    shot any more is reported and kept, and the exit code is then 1. edits.jsonl keeps every
    earlier state.

    A landing or release that you give enters the shot's fit with its standard uncertainty. A shot
    that was missed is added by two places of the ball or more: gravity and the release give the
    flight through them, and the ball is looked for along it. The new figures are printed at once.
    """
    from tracker.report.documents import review_document
    from tracker.report.review_table import answer_words, review_table

    screen = console()
    made = _done(session, flags, ends, changes)
    answer, notes = _answer(session, made)
    say(screen, [made.session.name, ""])
    show_table(screen, review_table(made.rows))
    say(screen, sentences(made.notes))
    if made.done:
        say(screen, ["", *sentences([made.done])])
    said = [*(answer_words(answer) if made.done else ()), *notes]
    say(screen, sentences(said))
    if made.done or made.waits:
        what = "it" if made.done else "the decisions as they stand"
        say(screen, [f"To bring {what} into the results: lobmeter measure {typed(session)}"])
    document = {"shots": review_document(made.rows), "notes": made.notes, "done": made.done}
    show_json(document | {"answer": None if answer is None else answer.shot, "faults": notes})
    if made.notes or notes:
        raise typer.Exit(1)


def _done(folder: Path, flags: ShotFlags, ends: EndFlags, changes: ChangeFlags) -> "Reviewed":
    """Do what the options ask for."""
    from calibration.errors import InputError
    from tracker.workflow.deciding import decide_shot, take_back, undo
    from tracker.workflow.review import refuse_bare, review_session

    refuse_bare(folder)
    wanted = _wanted(flags, ends)
    adds = [changes.place is not None, changes.candidate is not None]
    # A shot that is added by places may be of another setup than its clip's.
    decides = replace(wanted, setup=None).decides if changes.place else wanted.decides
    if sum([changes.undo, changes.take_back, *adds, decides]) > 1:
        raise InputError("one at a time", where=OWN_LINE)
    if changes.undo:
        return undo(folder)
    if changes.take_back:
        return take_back(folder, wanted)
    if any(adds):
        return _added(folder, flags, ends, changes)
    if wanted.decides:
        return decide_shot(folder, wanted)
    if flags.shot is not None or flags.at is not None:
        raise InputError(
            "what is decided about it?",
            where="--shot",
            remedy="give --reject, --accept, --setup, a landing, a release or --take-back",
        )
    return review_session(folder)


def _wanted(flags: ShotFlags, ends: EndFlags) -> "Wanted":
    from calibration.errors import InputError
    from tracker.session import Verdict
    from tracker.workflow.review import Wanted

    if flags.reject is not None and flags.accept is not None:
        raise InputError("a shot is either rejected or accepted", where="--reject and --accept")
    for option, reason in (("--reject", flags.reject), ("--accept", flags.accept)):
        if reason is not None and not reason.strip():
            remedy = f'say why, for whoever reads it later: {option} "two people saw it"'
            raise InputError("the reason is empty", where=option, remedy=remedy)
        if reason is not None and flags.reason is not None:
            where, remedy = f"{option} and --reason", f"write all of it after {option}"
            raise InputError("the reason is given twice", where=where, remedy=remedy)
    verdict = None
    if flags.reject is not None:
        verdict = Verdict.REJECT
    elif flags.accept is not None:
        verdict = Verdict.ACCEPT
    return Wanted(
        clip=flags.clip,
        shot=flags.shot,
        release_s=flags.at,
        verdict=verdict,
        reason=flags.reject or flags.accept or flags.reason or "",
        setup=flags.setup,
        ends=_ends(ends),
    )


def _ends(flags: EndFlags) -> "StatedEnds":
    from tracker.session import StatedEnds
    from tracker.session.stated import LANDING_U_M, PICKED_U_PX

    px_u = PICKED_U_PX if flags.px_u is None else flags.px_u
    return StatedEnds(
        landing_m=flags.landing_m,
        landing_u_m=LANDING_U_M if flags.landing_u_m is None else flags.landing_u_m,
        landing_px=flags.landing_px,
        landing_px_u=px_u,
        landing_s=flags.landing_at,
        release_px=flags.release_px,
        release_px_u=px_u,
        moved_release_s=flags.release_at,
    )


def _added(folder: Path, flags: ShotFlags, ends: EndFlags, changes: ChangeFlags) -> "Reviewed":
    """Add a shot by places, or a rejected candidate."""
    from calibration.errors import InputError
    from tracker.session import AddedShot
    from tracker.session.stated import PICKED_U_PX
    from tracker.workflow.deciding import add_missed, take_candidate
    from tracker.workflow.kept import candidate_at, kept_session

    reason = flags.reason or ""
    if changes.candidate is not None:
        return take_candidate(
            *candidate_at(folder, _cache(), changes.candidate, flags.clip), reason
        )
    places = tuple(_place(text) for text in changes.place or ())
    if len(places) < 2:
        raise InputError(
            "one place of the ball is given, and a flight needs two",
            where="--place",
            remedy="give it twice or more: --place 3.10,512,300 --place 3.60,802,214",
        )
    px_u = PICKED_U_PX if ends.px_u is None else ends.px_u
    added = AddedShot(flags.clip or "", places, px_u, flags.setup, reason)
    return add_missed(folder, added, kept_session(folder, _cache()))


def _place(text: str) -> "Place":
    from calibration.errors import InputError
    from tracker.session import Place

    try:
        time_s, column, row = (float(part) for part in text.replace(",", " ").split())
    except ValueError:
        raise InputError(
            f'"{text}" is not a time, a column and a row',
            where="--place",
            remedy="write it as 12.40,310,640",
        ) from None
    return Place(time_s, (column, row))


def _answer(folder: Path, made: "Reviewed") -> tuple["FittedShot | None", tuple[str, ...]]:
    """Return the shot that a change concerns as it is now, and what could not be done.

    Where nothing was changed but moved ends are not in the results yet: what will not be done.
    """
    from tracker.workflow.kept import kept_session

    if made.about is None and not made.moves_waiting:
        return None, ()
    kept = kept_session(folder, _cache())
    if kept is None:
        return None, ()
    if made.about is None:
        return None, tuple(note for note in kept.now()[1] if note not in made.notes)
    return kept.answer(*made.about)


def _cache() -> Path | None:
    from tracker.results.cache import cache_folder

    return cache_folder()
