"""Measure: progress with time left, the shots as they come, the answer over the frame."""

from collections.abc import Sequence

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts, tasks
from tracker.app.drop import drop_zone
from tracker.app.flights import flights_over_frame
from tracker.app.running import follow
from tracker.app.stale import STALE, is_stale
from tracker.app.view import Page, View
from tracker.app.work import Phase, Work
from tracker.app.workspace import in_thread
from tracker.records import Quality, Shot
from tracker.report.answer_words import (
    FIGURES,
    answer_sentence,
    counted,
    improvements,
    next_step,
    shot_rows,
)
from tracker.report.rounding import stated, with_uncertainty
from tracker.workflow.inputs import picture_names
from tracker.workflow.look import flights_of
from tracker.workflow.steps import MeasuredStep, steps_until_now

NO_CLIP = "The session has no clip yet. Drop some below, or send them from the phone."
MORE = "More clips for this session"
MORE_HERE = "Drop them here: another setup's, or what was forgotten. They are measured at once."

UNCHANGED = "Nothing had changed since it was measured before: the figures are the same."

HEAD = ("shot", *(f"{name}, {unit}" for name, _, _, unit in FIGURES), "quality")
NUMERIC = tuple(range(len(HEAD) - 1))
STEPS_NOTE = "The standard uncertainty of one shot, its median over the shots."
STANDARD = "± is one standard uncertainty."
TABLE_NOTE = "The figures of each shot."
SEEN = "What was considered in the clip, and why the nearest candidates are no shot"


async def build(view: View) -> None:
    """Build the page."""
    answer = parts.group("answer")
    answer.props["aria-live"] = "polite"
    shown_stale: list[parts.Handler] = []

    async def start() -> None:
        try:
            view.opened.start("measure", "Measuring", tasks.measure, view.opened.place)
        except InputError as error:
            view.complain(error.sentences())
        await draw()

    async def draw() -> None:
        put_answer(view.look.outdated)
        shown.clear()
        with shown:
            await _clips(view)
            ui.timer(0.0, look_closer, once=True)

    async def look_closer() -> None:
        # Whether the measurement is still that of the clips takes as long as to read them.
        if not view.look.outdated and await is_stale(view):
            shown_stale[-1]()

    def put_answer(stale: bool) -> None:
        answer.clear()
        with answer:
            shown_stale[:] = [_answer(view, view.opened.works.get("measure"), start)]
        if stale:
            shown_stale[-1]()

    async def sent(_: Sequence[str]) -> None:
        await view.renew()
        await start()

    follow(view, "measure", view.renew, _came, key="c")
    session = view.look.session
    if session is not None and not session.bare:
        with parts.fold(MORE, opened=not session.clips):
            drop_zone(MORE_HERE, str(view.opened.number), sent)
    shown = parts.group("shown")
    view.on_change(draw)
    view.key("m", "measure the session", start)
    await draw()


def _answer(view: View, work: Work | None, start: parts.Handler) -> parts.Handler:
    """Put the answer, what improved it, and the next step; return what shows that it is stale."""
    shots = [shot for shot, _ in view.look.shots]
    running = work is not None and work.phase is Phase.RUNNING
    if work is not None and work.phase is Phase.FAILED:
        for words in work.faults:
            parts.sentence(words, "fault")
    if work is not None and work.phase is Phase.CANCELLED:
        parts.sentence("Cancelled. What was there before is as it was.", "quiet")
    if view.look.session is not None and view.look.session.notes:
        notes = view.look.session.notes
        parts.sentence(f"{notes[:1].upper()}{notes[1:]}", "quiet")
    if view.look.measured:
        only = len(view.look.session.clips) == 1 if view.look.session is not None else False
        causes = list(view.look.causes.values()) if only and not shots else []
        parts.sentence(causes[0] if causes else answer_sentence(shots), "lead")
        if shots:
            parts.sentence(STANDARD, "hint")
        _gained(view)
        if work is not None and work.phase is Phase.DONE and not work.progress:
            parts.sentence(UNCHANGED, "quiet")
        step = next_step(shots)
        if step:
            parts.sentence(step)
    elif not running and view.look.session is not None:
        words = "Nothing is measured yet." if view.look.session.clips else NO_CLIP
        parts.sentence(words, "lead")
    if running or view.look.session is None or not view.look.session.clips:
        return lambda: None
    again = "Measure again" if view.look.measured else "Measure"
    with parts.group("row"):
        button = parts.button(again, start, main=not view.look.measured, key="m")
        look = parts.link("Look at the shots", view.address("shots"))
        if view.look.causes:
            parts.link("State the ball, the wind or slow motion", view.address("field"))
    parts.show_if(bool(shots) and not view.look.session.bare, look)
    late = parts.Lines()

    def stale() -> None:
        # Behind the buttons, which stay where they are: it may come after them.
        late.show([(STALE, "doubt")])
        button.classes("main")
        parts.show_if(False, look)

    return stale


def _gained(view: View) -> None:
    """Put what the last step improved, and the table of all steps."""
    steps = steps_until_now(view.look)
    if len(steps) < 2:
        return
    for words in improvements(steps[-2].known_to, steps[-1].known_to):
        parts.sentence(words, "good")
    shown = [figure for figure in FIGURES if any(figure[2] in step.known_to for step in steps)]
    head = ("measured with", *(f"{name}, {unit}" for name, _, _, unit in shown))
    rows = [
        [step.stated or "files since changed", *(_known(step, figure[2]) for figure in shown)]
        for step in steps
    ]
    with parts.fold("What each step gained"):
        parts.table(head, rows, STEPS_NOTE, range(1, len(head)))


def _known(step: MeasuredStep, u_name: str) -> str:
    u = step.known_to.get(u_name)
    return "" if u is None else f"±{stated(u)}"


def _came(shot: Shot | str) -> str:
    """Return a shot in a line, before it has a number; a sentence as it is."""
    if isinstance(shot, str):
        return shot
    figures = [
        f"{name} {with_uncertainty(getattr(shot, column), getattr(shot, u_column))} {unit}"
        for name, column, u_column, unit in FIGURES[::2]
        if getattr(shot, column) is not None
    ]
    return f"{shot.clip}, at {shot.release_s:.1f} s: {', '.join(figures) or 'rejected'}"


async def _clips(view: View) -> None:
    """Put each clip with its flights and its table."""
    session = view.look.session
    if session is None or not view.look.measured:
        return
    flights = await view.attempt(flights_of, view.opened.place) or {}
    several = len(session.clips) > 1
    for number, clip in enumerate(session.clips):
        shots = [shot for shot, _ in view.look.shots if shot.clip == clip.file]
        mine = [(shot, flights.get((clip.file, shot.shot), ())) for shot in shots]
        try:
            facts = await in_thread(view.opened.facts, clip, session.camera.capture_fps)
        except InputError as error:
            view.complain(error.sentences())
            continue
        with parts.group("clip", "section"):
            parts.heading(clip.file)
            cause = view.look.causes.get(clip.file, "")
            if cause:
                _explained(view, picture_names(session.clips)[clip.file], cause, several)
                continue
            described = f"{clip.file} with {counted(shots)}"
            flights_over_frame(view, number, facts.size_px, mine, described)
            with parts.group("clip-said"):
                _figures(shots, not several)
                _remarks(shots)
    _notes(view)


def _explained(view: View, name: str, cause: str, several: bool) -> None:
    """Put why a clip yields no shot, and the picture of what was considered."""
    if several:
        parts.sentence(cause)
    with parts.group("over"):
        parts.picture(view.result_address(f"{name}-explained.jpg"), SEEN)


def _figures(shots: Sequence[Shot], only: bool) -> None:
    """Put the figures of a clip: a sentence, and a table that is open where there is no other."""
    if not only:
        parts.sentence(answer_sentence(shots))
    if shots:
        with parts.fold("Shot by shot", opened=only):
            rejected = [n for n, shot in enumerate(shots) if shot.quality is Quality.REJECTED]
            made = parts.table(HEAD, shot_rows(shots), TABLE_NOTE, NUMERIC)
            parts.dim(made, rejected)


def _remarks(shots: Sequence[Shot]) -> None:
    """Put why shots are doubted, to be unfolded."""
    doubted = [shot for shot in shots if shot.quality is not Quality.GOOD]
    if doubted:
        with parts.fold(_why(doubted)):
            for shot in doubted:
                parts.sentence(f"Shot {shot.shot}, {shot.quality}: {shot.reason}")


def _why(doubted: Sequence[Shot]) -> str:
    """Return the heading over the reasons for doubted and rejected shots."""
    which = ", ".join(str(shot.shot) for shot in doubted)
    several = len(doubted) > 1
    if all(shot.quality is Quality.REJECTED for shot in doubted):
        return f"Why shot{'s' if several else ''} {which} {'were' if several else 'was'} rejected"
    return f"Why to look at shot{'s' if several else ''} {which}"


def _notes(view: View) -> None:
    """Put what the measurement reported beyond its rows."""
    work = view.opened.works.get("measure")
    result = None if work is None else work.result
    notes = [f"{clip}: {note}" for clip, said in view.look.notes.items() for note in said]
    kept: tuple[str, ...] = ()
    if isinstance(result, tasks.Measurement):
        notes, kept = [*notes, *result.notes], result.kept
    if notes or kept:
        with parts.fold("What was assumed and noticed"):
            for words in notes:
                parts.sentence(words)
            if kept:
                parts.sentence(f"Results that were edited by hand are kept as {', '.join(kept)}.")


PAGE = Page("measure", "Measure", build, order=30)
