"""The field in one clip's frame: what the picks so far give, and where markers seem to be."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.errors import Contradiction, InputError, MarkerField
from calibration.markers import Look, find_markers
from calibration.site import ALARM, Calibration, solve
from calibration.site.presumed import expected_camera
from tracker.report.calibration_words import (
    camera_sentences,
    next_step,
    remedy_sentences,
    verdict_sentence,
)
from tracker.report.field_scene import (
    FieldScene,
    Pixel,
    expected_pixels,
    field_scene,
    residual_words,
)
from tracker.session import ClipEntry, Session
from tracker.video import picture
from tracker.workflow.ball_and_air import ground_under
from tracker.workflow.inputs import inspected
from tracker.workflow.markers import search_camera
from tracker.workflow.questions import clip_questions, session_questions
from tracker.workflow.stand import site_of

AGREE = "The markers agree within their uncertainties."
LOOKING = "The observations do not agree; looking for the mistake."


@dataclass(frozen=True)
class FieldAnswer:
    """What the picked markers of a clip give.

    Attributes
    ----------
    calibration : Calibration or None
        None where the camera is not determined.
    scene : FieldScene or None
        What is drawn over the frame; None without a camera.
    expected : mapping of str to (float, float)
        By marker the pixel in which the camera shows its taped place.
    residuals : mapping of str to str
        By picked marker how far it is off, in words.
    suspects : tuple of str
        Markers that a likely mistake concerns.
    faults : tuple of str
        What is wrong or missing, as sentences.
    landing : str
        How well a landing will be known, as a sentence; empty without a camera.
    check : str
        Whether the markers check each other, as a sentence; empty without a camera.
    next_step : str
        The one measurement to add and what it gains, as a sentence; empty where none helps.
    weakest : str
        What is known worst, with the one measurement to add, as a sentence.
    details : tuple of str
        The test of the whole, the camera, and what else would help, as sentences.
    questions : tuple of str
        What is likely a slip, as sentences: those of ``lobmeter check``.
    searched : bool
        Whether mistakes were searched for.
    """

    calibration: Calibration | None = None
    scene: FieldScene | None = None
    expected: Mapping[str, Pixel] = field(default_factory=dict)
    residuals: Mapping[str, str] = field(default_factory=dict)
    suspects: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    landing: str = ""
    check: str = ""
    next_step: str = ""
    weakest: str = ""
    details: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    searched: bool = True


@dataclass(frozen=True)
class Suggestion:
    """A marker found in a frame, to be accepted or not.

    Attributes
    ----------
    name : str
    pixel : (float, float)
    pixel_u : float
        Standard uncertainty of each coordinate.
    doubt : str
        Why it may be wrong, as a clause; empty where nothing speaks against it.
    """

    name: str
    pixel: Pixel
    pixel_u: float
    doubt: str


def field_answer(
    session: Session, clip: ClipEntry, size_px: tuple[int, int], searched: bool = True
) -> FieldAnswer:
    """Return what the picked markers of a clip give; faults are part of it.

    Parameters
    ----------
    session : Session
    clip : ClipEntry
        With the markers as they are picked now.
    size_px : tuple of int
        Width and height of the clip's frames as shown.
    searched : bool
        Whether observations that do not agree are searched for the mistake, which takes a second;
        false while a marker is being moved.
    """
    try:
        site = site_of(session, clip, size_px)
        calibration = solve(site, look_for_mistakes=searched)
    except InputError as error:
        return _without_camera(session, clip, size_px, error, searched)
    known = set(calibration.markers)
    left_out = tuple(f"“{name}”" for name in _picked(clip) if name not in known)
    doubtful = calibration.p_value < ALARM or bool(calibration.suspects)
    suspects = tuple(dict.fromkeys(one.name for one in calibration.suspects))
    texts = tuple(dict.fromkeys(one.text for one in calibration.suspects))
    faults = tuple(_sentence(text) for text in texts)
    if left_out and suspects:
        faults += (f"The camera is calibrated without {', '.join(left_out)}.",)
    if doubtful and not faults:
        faults = (LOOKING,) if not searched else tuple(map(_sentence, calibration.notes))
    return FieldAnswer(
        calibration=calibration,
        scene=field_scene(calibration, ground_under(clip.markers)),
        expected=expected_pixels(calibration.camera, clip.markers),
        residuals=residual_words(calibration),
        suspects=suspects,
        faults=faults,
        landing=_sentence(calibration.summary),
        check="" if doubtful else AGREE if calibration.dof else verdict_sentence(calibration),
        next_step=_sentence(next_step(calibration)),
        weakest=_sentence(calibration.weakest.text),
        details=(
            verdict_sentence(calibration),
            *camera_sentences(calibration),
            *(f"Would help too: {words}." for words in remedy_sentences(calibration)),
        ),
        questions=_questions(session, clip, calibration, said=bool(faults)),
        searched=searched,
    )


def suggest(session: Session, clip: ClipEntry, index: int) -> tuple[Suggestion, ...]:
    """Return where the markers of a clip seem to be in one of its frames.

    Parameters
    ----------
    session : Session
    clip : ClipEntry
    index : int
        Of the frame, from 0.

    Raises
    ------
    InputError
        Where the clip cannot be read, or nothing is known of the camera to search with.
    """
    facts = inspected(session, clip)
    _, camera = search_camera(session, clip, facts.size_px)
    site = site_of(session, clip, facts.size_px)
    found = find_markers(picture(facts, index), camera, site.markers, Look(), {})
    return tuple(
        Suggestion(
            one.name,
            (round(float(one.pixel[0]), 1), round(float(one.pixel[1]), 1)),
            round(one.pixel_u, 2),
            one.doubt,
        )
        for one in found
    )


def suggest_in_worker(
    messenger: object, session: Session, clip: ClipEntry, index: int
) -> tuple[Suggestion, ...]:
    """Do what `suggest` does in a process of its own; nothing is reported before the end."""
    return suggest(session, clip, index)


def _without_camera(
    session: Session,
    clip: ClipEntry,
    size_px: tuple[int, int],
    error: InputError,
    searched: bool,
) -> FieldAnswer:
    """Return what can be said where the camera is not determined."""
    names: list[str] = []
    for fault in error.parts:
        if isinstance(fault, Contradiction):
            names.extend(fault.names)
        elif isinstance(fault.place, MarkerField):
            names.append(fault.place.marker)
    try:
        camera = expected_camera(site_of(session, clip, size_px))
    except InputError:
        camera = None
    expected = {} if camera is None else expected_pixels(camera, clip.markers)
    return FieldAnswer(
        expected=expected,
        suspects=tuple(dict.fromkeys(names)),
        faults=tuple(_fault_sentence(fault) for fault in error.parts),
        questions=tuple(session_questions(session)),
        searched=searched,
    )


def _questions(
    session: Session, clip: ClipEntry, calibration: Calibration, said: bool
) -> tuple[str, ...]:
    """Return the questions; `said` is whether the answer itself names what does not agree."""
    of_clip = [] if said else clip_questions(clip, calibration)
    return (*session_questions(session), *of_clip)


def _picked(clip: ClipEntry) -> list[str]:
    return [entry.name for entry in clip.markers if entry.pixel is not None]


def _fault_sentence(fault: InputError) -> str:
    """Return a fault as a sentence, with the marker or the camera's field that it concerns."""
    place = f"{fault.place}: " if fault.place is not None else ""
    return _sentence(place + fault.what + (f"; {fault.remedy}" if fault.remedy else ""))


def _sentence(clause: str) -> str:
    text = clause.rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
