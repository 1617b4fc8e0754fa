"""Clips that share picks: whether each was filmed as the first, and what is said where not."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from calibration.errors import InputErrors
from tests.tracker.test_workflow_results import small
from tracker.measurement import ClipResult
from tracker.records import Quality, Reason, ReasonCode
from tracker.session import ClipEntry, Session, read_session
from tracker.video import ClipFacts, ClipWriter, inspect
from tracker.workflow import clips
from tracker.workflow.check import Finding, Kind, check_session
from tracker.workflow.stands import Moved, moved_clips, moved_sentences, of_the_same_view

SIZE = (480, 270)
SESSION = """[release]
height_m = 0.8
[camera]
{camera}
[[marker]]
name = "foot"
ground_m = [0.0, 0.0, 0.0]
pixel = [40.0, 200.0]
[[marker]]
name = "10 m"
ground_m = [10.0, 0.0, 0.0]
pixel = [240.0, 200.0]
[[setup]]
name = "140 mm wheels"
"""
CLIP = '[[clip]]\nfile = "{}.mp4"\nsetup = "140 mm wheels"\n'
OWN = '[[clip.marker]]\nname = "foot"\npixel = [60.0, 200.0]\n'


def view(seed: int = 1, size: tuple[int, int] = SIZE) -> np.ndarray:
    """A picture with patches of many sizes, larger than a frame."""
    random = np.random.default_rng(seed)
    rough = random.uniform(30, 220, (size[1] // 9, size[0] // 9)).astype(np.float32)
    return cv2.resize(rough, (size[0] + 60, size[1] + 60), interpolation=cv2.INTER_CUBIC)


def film(path: Path, seen: np.ndarray, right: int = 0, size: tuple[int, int] = SIZE) -> None:
    """Write three frames of a view, with noise, moved to the right."""
    random = np.random.default_rng(right)
    with ClipWriter(path, size, 30) as writer:
        for _ in range(3):
            part = seen[20 : 20 + size[1], 40 - right : 40 - right + size[0]]
            grey = np.clip(part + random.normal(0, 2, part.shape), 0, 255).astype(np.uint8)
            writer.write_bgr(np.repeat(grey[..., None], 3, axis=2))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("stands")
    usual = view()
    film(made / "first.mp4", usual)
    film(made / "same.mp4", usual, right=1)
    film(made / "darker.mp4", 0.5 * usual)
    film(made / "knocked.mp4", usual, right=8)
    film(made / "other.mp4", view(2))
    film(made / "fog.mp4", np.full_like(usual, 128.0))
    film(made / "tall.mp4", view(1, SIZE[::-1]), size=SIZE[::-1])
    return made


def session_of(folder: Path, *names: str, camera: str = "", own: str = "") -> Session:
    text = SESSION.format(camera=camera) + "".join(map(CLIP.format, names)) + own
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return read_session(folder)


def of(session: Session) -> tuple[Moved, ...]:
    return moved_clips(session, lambda clip: inspect(clip.path))


def test_a_clip_of_another_view_is_named_with_what_differs(folder: Path) -> None:
    names = ("first", "same", "darker", "fog", "knocked", "other", "tall")
    knocked, other, tall = of(session_of(folder, *names))
    assert (knocked.clip, knocked.reference, knocked.certain) == ("knocked.mp4", "first.mp4", True)
    assert knocked.difference == "background lies 8 px from where it lies in first.mp4"
    assert (other.clip, other.certain) == ("other.mp4", False)
    assert other.difference == "background is not found where it lies in first.mp4"
    assert (tall.clip, tall.certain) == ("tall.mp4", True)
    assert tall.difference == "frame is 270 x 480, not 480 x 270 as that of first.mp4"
    assert knocked.sentence.startswith("knocked.mp4: was the camera moved before this clip? Its b")
    assert "Pick the markers anew for it" in knocked.sentence
    assert "position_m" not in knocked.sentence


def test_picks_of_its_own_are_not_doubted_and_one_taped_place_is_named(folder: Path) -> None:
    assert of(session_of(folder, "first", "knocked", own=OWN)) == ()
    taped = session_of(folder, "first", "knocked", camera="position_m = [5.0, -9.0, 1.5]")
    (knocked,) = of(taped)
    assert "make a session of this clip alone, since position_m holds for all" in knocked.sentence


def test_clips_of_one_other_view_are_said_of_at_once_and_known_to_be_of_one(folder: Path) -> None:
    film(folder / "other again.mp4", view(2), right=1)
    names = ("first", "same", "other", "knocked", "other again")
    session = session_of(folder, *names)
    moved = of(session)
    others, knocked = moved_sentences(moved)
    assert others.startswith(
        "other.mp4, other again.mp4: was the camera moved before these clips? In each the "
        "background is not found where it lies in first.mp4, whose picked markers it shares."
    )
    assert knocked == moved[1].sentence
    assert "position_m" not in others
    taped = moved_sentences([replace(one, one_position=True) for one in moved])
    assert taped[0].endswith("make a session of these clips, since position_m holds for all.")
    by_name = {clip.file: clip for clip in session.clips}

    def alike(file: str) -> tuple[str, ...]:
        return of_the_same_view(session, by_name[file], moved, lambda clip: inspect(clip.path))

    assert alike("other.mp4") == ("other again.mp4",)
    assert alike("other again.mp4") == ("other.mp4",)
    assert alike("knocked.mp4") == ()
    film(folder / "fog.mp4", np.full_like(view(), 128.0))
    fog = replace(by_name["other.mp4"], path=folder / "fog.mp4")
    assert of_the_same_view(session, fog, moved, lambda clip: inspect(clip.path)) == ()


def test_coarser_picks_are_doubted_later(folder: Path) -> None:
    # By 8 px knocked: more than three times 2.5 px, less than three times 3 px.
    for pixel_u, named in ((2.5, 1), (3.0, 0)):
        text = SESSION.replace("200.0]\n", f"200.0]\npixel_u = {pixel_u}\n").format(camera="")
        text += "".join(map(CLIP.format, ("first", "knocked")))
        (folder / "session.toml").write_text(text, encoding="utf-8")
        assert len(of(read_session(folder))) == named


def test_check_asks_before_anything_is_measured(folder: Path) -> None:
    # Feet of cones along the line and the camera's place fix a camera.
    session_of(folder, "first", "knocked", camera="position_m = [5.0, -9.0, 1.5]\nlevel = true")
    asked = [one.sentence for one in check_session(folder) if one.kind is Kind.QUESTION]
    assert [one for one in asked if one.startswith("knocked.mp4: was the camera moved")]
    assert not [one for one in asked if one.startswith("first.mp4: was the camera")]


def test_picks_of_another_size_of_frame_stop_a_measurement_in_one_sentence(folder: Path) -> None:
    taped = "position_m = [5.0, -9.0, 1.5]\nlevel = true"
    with pytest.raises(InputErrors) as caught:
        clips.ready_clips(session_of(folder, "first", "same", "tall", camera=taped))
    (said,) = caught.value.sentences()
    assert said == (
        "tall.mp4: its frame is 270 x 480, not 480 x 270 as that of first.mp4, whose picked "
        "markers it shares; pick the markers anew for it (page Field, or [[clip.marker]])."
    )
    session_of(folder, "first", "same", "tall", camera=taped)
    of_tall = [one for one in check_session(folder) if "tall.mp4" in one.sentence]
    assert of_tall == [Finding(Kind.FAULT, said)]
    first, same = clips.ready_clips(session_of(folder, "first", "same", camera=taped))
    assert first.moved is None and same.moved is None


YARDS, LANDING = Reason(ReasonCode.GRAVITY_YARDS), Reason(ReasonCode.LANDING_NOT_SEEN)


@pytest.mark.parametrize(
    ("certain", "before", "after"),
    [
        (True, (), [ReasonCode.ANOTHER_VIEW]),
        (True, (LANDING, YARDS), [ReasonCode.ANOTHER_VIEW, ReasonCode.LANDING_NOT_SEEN]),
        (False, (YARDS,), [ReasonCode.ANOTHER_VIEW]),
        # Another light is no other view: a row that nothing doubts stays good.
        (False, (), []),
        (False, (LANDING,), [ReasonCode.LANDING_NOT_SEEN]),
    ],
)
def test_a_row_before_another_view_blames_the_view(
    certain: bool,
    before: tuple[Reason, ...],
    after: list[ReasonCode],
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    measured = measured_with(session_of(folder, "first"), certain, before, (), monkeypatch)
    (row,) = [one.shot for one in measured.shots]
    assert [each.code for each in row.reasons] == after
    assert row.quality is (Quality.CHECK if after else Quality.GOOD)
    assert measured.notes[0].startswith("was the camera moved before this clip? Its background")
    if ReasonCode.ANOTHER_VIEW in after:
        assert "pick them anew for this clip: its background lies 8 px" in row.reason


def test_no_better_pick_is_asked_for_where_none_would_help(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short = Reason(ReasonCode.CLIP_TOO_SHORT, {"lasts_s": 0.1, "least_s": 0.25})
    session = session_of(folder, "first")
    measured = measured_with(session, True, None, (short,), monkeypatch)
    assert [each.code for each in measured.causes] == [ReasonCode.CLIP_TOO_SHORT]


def test_a_clip_of_another_view_without_a_shot_names_the_view(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cause = Reason(ReasonCode.TAPED_IN_FEET)
    measured = measured_with(session_of(folder, "first"), False, None, (cause,), monkeypatch)
    assert [each.code for each in measured.causes] == [ReasonCode.PICKED_ELSEWHERE]
    assert measured.notes[-1].startswith("No shot was found, and the markers' pixels seem")
    assert "feet" not in measured.notes[-1]


def measured_with(
    session: Session,
    certain: bool,
    reasons: tuple[Reason, ...] | None,
    causes: tuple[Reason, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> clips.MeasuredClip:
    """Measure a clip of another view in which a shot with these reasons is found, or none."""
    found = ()
    if reasons is not None:
        shot = small(1)
        quality = Quality.CHECK if reasons else Quality.GOOD
        found = (replace(shot, shot=replace(shot.shot, quality=quality, reasons=reasons)),)
    result = ClipResult(found, ("a note",), None, (), causes)  # type: ignore[arg-type]
    monkeypatch.setattr(clips, "measure", lambda *_: result)
    facts: ClipFacts = SimpleNamespace(frame_count=60, size_px=SIZE)  # type: ignore[assignment]
    moved = Moved("a.mp4", "first.mp4", "background lies 8 px off", certain, False)
    clip: ClipEntry = session.clips[0]
    return clips.measure_ready(session, clips.ReadyClip(clip, facts, None, moved))
