"""Phone: a code to scan, and what came in."""

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.view import Page, View

CLOSED = (
    "A phone can send its clips straight into this session. Start the page with lobmeter open "
    "--lan to let one in."
)


def build(view: View) -> None:
    """Build the page."""
    if not view.doors.lan:
        parts.sentence(CLOSED, "lead")
        return
    code = parts.group("code")
    arrived = parts.group()

    def show_code() -> None:
        code.clear()
        with code:
            _code(view, let_in, shut)

    def let_in() -> None:
        try:
            assert view.opened.folder
            view.doors.let_in(view.opened.number)
        except InputError as error:
            view.complain(error.sentences())
        show_code()

    def shut() -> None:
        view.doors.shut()
        show_code()

    def show_clips() -> None:
        arrived.clear()
        session = view.look.session
        if session is not None and session.clips:
            with arrived:
                parts.heading("Clips of this session")
                for clip in session.clips:
                    parts.sentence(clip.file)
                parts.link("Measure them", view.address("measure"))

    view.on_change(show_clips)
    show_code()
    show_clips()


def _code(view: View, let_in: parts.Handler, shut: parts.Handler) -> None:
    """Put the code, or the button that shows it."""
    if view.doors.phone_session != view.opened.number:
        parts.sentence(
            "A phone of this network can send its clips straight into this session.", "lead"
        )
        if view.doors.phone_session is not None:
            words = "Another session is receiving now; its code ends when you show this one."
            parts.sentence(words, "doubt")
        parts.button("Show the code", let_in, main=True)
        return
    import segno

    link = view.doors.phone_link("send")
    parts.sentence("Scan this with the phone's camera. It must be in the same network.", "lead")
    made = segno.make(link, micro=False)
    picture = parts.picture(made.svg_data_uri(scale=6, border=4, dark="#000", light="#fff"), "Code")
    picture.classes("scan")
    parts.text("code", link)
    parts.sentence(
        "Whoever has the link can send clips into this session and see its results, nothing else. "
        "The network is not encrypted: use one that you trust.",
        "quiet",
    )
    parts.button("Stop receiving", shut)


PAGE = Page("phone", "Phone", build, order=90)
