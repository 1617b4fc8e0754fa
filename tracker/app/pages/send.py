"""The page that a phone sees: clips go out, results come in."""

from collections.abc import Sequence

from tracker.app import parts
from tracker.app.drop import drop_zone
from tracker.app.view import Page, View
from tracker.report.answer_words import FIGURES, answer_sentence, shot_rows
from tracker.workflow.inputs import picture_names

HEAD = ("shot", *(f"{name}, {unit}" for name, _, _, unit in FIGURES), "quality")


def build(view: View) -> None:
    """Build the page."""

    async def sent(_: Sequence[str]) -> None:
        await view.renew()

    parts.sentence(view.title, "lead")
    drop_zone("Clips for this session", str(view.opened.number), sent)
    shown = parts.group()

    def draw() -> None:
        shown.clear()
        with shown:
            _results(view)

    view.on_change(draw)
    draw()


def _results(view: View) -> None:
    """Put what was measured: the answer, a table, pictures."""
    session = view.look.session
    if session is None:
        return
    clips = len(session.clips)
    parts.sentence(f"{clips} clip{'' if clips == 1 else 's'} in the session.", "quiet")
    if not view.look.measured:
        parts.sentence("The results will stand here when the session is measured.")
        return
    shots = [shot for shot, _ in view.look.shots]
    parts.heading(answer_sentence(shots))
    names = picture_names(session.clips)
    for clip in session.clips:
        mine = [shot for shot in shots if shot.clip == clip.file]
        if not mine:
            continue
        if clips > 1:
            parts.heading(clip.file, 3)
            parts.sentence(answer_sentence(mine))
        with parts.fold("Shot by shot", opened=clips == 1):
            parts.table(HEAD, shot_rows(mine), "± is one standard uncertainty.")
        for shot in mine:
            name = f"{names[clip.file]}-shot-{shot.shot}.jpg"
            if (view.look.results / name).is_file():
                parts.picture(view.result_address(name), f"Shot {shot.shot} of {clip.file}")


PAGE = Page("send", "Clips from the phone", build, order=99, phone=True)
