"""What `check` asks, refuses and lets pass, from the session's own values and its calibration."""

from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import Contradiction, InputError, InputErrors
from calibration.site import Site
from calibration.site.reach import lone_marker
from tests.calibration.fields import LAYOUTS, field
from tests.tracker.invented_shot import CAMERA
from tests.tracker.test_workflow_results import small
from tracker.measurement import ClipRequest, ClipResult, FittedShot, Observers, measure
from tracker.measurement.starts.protocol import Findings
from tracker.records import Quality, Reason, ReasonCode, sentence
from tracker.records.codes import Figure
from tracker.session import Session, read_session
from tracker.video import ClipFacts, ClipWriter, inspect
from tracker.workflow import clips
from tracker.workflow.advice import camera_advice
from tracker.workflow.check import Finding, Kind, _together
from tracker.workflow.questions import clip_questions, session_questions
from tracker.workflow.stand import calibrate, calibrate_if_fixed, request_of

SIZE = (1920, 1080)


def written(folder: Path, site: Site, camera: str = "", **changes: str) -> Session:
    """Write a session of a drawn site, and read it."""
    (folder / "clips").mkdir(parents=True, exist_ok=True)
    (folder / "clips" / "a.mp4").write_bytes(b"not read here")
    position = np.round(site.position_m, 3).tolist() if site.position_m is not None else None
    lines = ["[release]", f"height_m = {changes.get('height', '0.8')}", "[air]"]
    lines += [changes.get("air", "wind_along_mps = 1.0"), "[ball]", changes.get("ball", "")]
    lines += ["[camera]"]
    lines += [f"position_m = {position}", camera]
    for marker in site.markers:
        lines += [
            "[[marker]]",
            f'name = "{marker.name}"',
            f"ground_m = {np.round(marker.ground_m, 3).tolist()}",
            f"pixel = {np.round(marker.pixel, 2).tolist()}",
        ]
    lines += ["[[setup]]", 'name = "140 mm wheels"', "[[clip]]", 'file = "clips/a.mp4"']
    lines += ['setup = "140 mm wheels"']
    (folder / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_session(folder)


def site(seed: int = 5) -> Site:
    return field(LAYOUTS[0], np.random.default_rng(seed)).site


def moved(known: Site, at: int, px: tuple[float, float]) -> Site:
    markers = list(known.markers)
    markers[at] = replace(markers[at], pixel=markers[at].pixel + np.array(px))
    return replace(known, markers=tuple(markers))


def test_a_usual_session_raises_no_question(tmp_path: Path) -> None:
    session = written(tmp_path, site())
    assert session_questions(session) == []
    clip = session.clips[0]
    assert clip_questions(clip, calibrate(session, clip, SIZE)) == []


@pytest.mark.parametrize(
    ("changes", "question"),
    [
        ({"height": "80"}, "[release], height_m = 80: is it so high above the ground, in metres?"),
        ({"height": "2.6"}, "If it is in feet, write 0.79."),
        ({"height": "80"}, "If it is in centimetres, write 0.80."),
        ({"air": "wind_along_mps = 18.0"}, "wind_along_mps = 18: a gale? In km/h it would be 5.0"),
        ({"air": "wind_across_mps = -16.0"}, "wind_across_mps = -16"),
    ],
)
def test_values_that_are_likely_slips_are_asked_about(
    changes: dict[str, str], question: str, tmp_path: Path
) -> None:
    (asked,) = session_questions(written(tmp_path, site(), **changes))
    assert question in asked


@pytest.mark.parametrize(("height", "asked"), [("2.5", 0), ("2.51", 1)])
def test_what_a_person_reaches_is_not_asked_about(height: str, asked: int, tmp_path: Path) -> None:
    assert len(session_questions(written(tmp_path, site(), height=height))) == asked


def test_a_camera_and_a_marker_high_up_are_asked_about(tmp_path: Path) -> None:
    known = site()
    high = replace(known.markers[3], ground_m=known.markers[3].ground_m + 9.84 * np.eye(3)[2])
    known = replace(
        known,
        markers=(*known.markers[:3], high, known.markers[4]),
        position_m=known.position_m + np.array([0.0, 0.0, 4.0]),
    )
    asked = session_questions(written(tmp_path, known))
    assert len(asked) == 2
    assert "position_m, up" in asked[0]
    assert '"marker 3", ground_m, up' in asked[1]


@pytest.mark.parametrize(
    ("ball", "question"),
    [
        ("diameter_mm = 6.6", "If it is in centimetres, write 66."),
        ("mass_g = 0.577", "If it is in kilograms, write 577."),
        ("diameter_mm = 20.0\nmass_g = 2.7", ""),
    ],
)
def test_a_ball_in_other_units_is_asked_about(ball: str, question: str, tmp_path: Path) -> None:
    asked = session_questions(written(tmp_path, site(), ball=ball))
    assert len(asked) == bool(question)
    assert not question or question in asked[0]


@pytest.mark.parametrize(("shift_m", "asked"), [(-60.0, 1), (-30.0, 0)])
def test_markers_that_all_lie_behind_the_release_are_asked_about(
    shift_m: float, asked: int, tmp_path: Path
) -> None:
    shift = np.array([shift_m, 0.0, 0.0])
    known = site()
    known = replace(
        known,
        position_m=known.position_m + shift,
        markers=tuple(replace(m, ground_m=m.ground_m + shift) for m in known.markers),
    )
    found = session_questions(written(tmp_path, known))
    assert len(found) == asked
    assert all("do the shots fly away from the markers?" in each for each in found)


@pytest.mark.parametrize(("share", "asked"), [(0.5, 1), (0.6, 0)])
def test_picks_in_one_quarter_of_the_frame_are_asked_about(
    share: float, asked: int, tmp_path: Path
) -> None:
    """A copy of half the size may agree with itself, where no field of view is stated."""
    session = written(tmp_path, site())
    whole = calibrate(session, session.clips[0], SIZE)
    corner = share * np.array(SIZE) / whole.pixels.max(axis=0)
    shrunk = replace(whole, pixels=0.98 * corner * whole.pixels)
    found = clip_questions(session.clips[0], shrunk)
    assert len(found) == asked
    assert all("multiply them by 2." in each for each in found)


def test_a_marker_that_alone_carries_the_calibration_far_is_asked_about(tmp_path: Path) -> None:
    # The 40 m cone was typed with a digit too many; its pixel is where a cone at 400 m would be.
    camera = looking_at((-15.0, -20.0, 1.6), (60.0, 0.0, 2.0), 1500.0, SIZE)
    ground = np.array([[x, 0.0, 0.0] for x in (10.0, 20.0, 30.0, 400.0)])
    known = site()
    markers = tuple(
        replace(m, name=f"{g[0]:g} m", ground_m=g, pixel=p)
        for m, g, p in zip(known.markers, ground, camera.project(ground), strict=False)
    )
    session = written(tmp_path, Site(SIZE, markers, position_m=camera.position))
    clip = session.clips[0]
    calibration = calibrate(session, clip, SIZE)
    lone = lone_marker(calibration)
    assert lone is not None
    assert lone.name == "400 m"
    assert lone.half_width_m > 30.0 > 5.0 > lone.next_half_width_m
    (asked,) = clip_questions(clip, calibration)
    assert '[[marker]] "400 m"' in asked
    assert "is it 400 m down the line?" in asked
    assert f"±{lone.half_width_m:.0f} m" in asked


def test_a_marker_that_contradicts_the_rest_is_asked_about_not_only_noted(tmp_path: Path) -> None:
    session = written(tmp_path, moved(site(), 2, (60.0, 0.0)))
    calibration = calibrate(session, session.clips[0], SIZE)
    (asked,) = clip_questions(session.clips[0], calibration)
    assert asked.startswith("session.toml, [[marker]], for clips/a.mp4: ")
    assert calibration.suspects[0].text in asked


def test_markers_that_were_picked_on_another_clip_are_asked_about(tmp_path: Path) -> None:
    known = site()
    for at, px in enumerate([(40.0, -30.0), (-35.0, 25.0), (30.0, 40.0), (-45.0, -20.0)]):
        known = moved(known, at, px)
    session = written(tmp_path, known)
    calibration = calibrate(session, session.clips[0], SIZE)
    assert not calibration.suspects
    (asked,) = clip_questions(session.clips[0], calibration)
    assert "were the pixels picked on a frame of this clip" in asked
    assert f"chi-square {calibration.chi_square:.0f} with {calibration.dof} degrees" in asked


SLOW = Reason(ReasonCode.PLAYS_SLOWLY, {"rate_fps": 120.0, "assumed_fps": 60.0})
FEET = Reason(ReasonCode.TAPED_IN_FEET)


@pytest.mark.parametrize(
    ("wrong", "cause", "blamed"),
    [
        ("", SLOW, ReasonCode.PLAYS_SLOWLY),
        ("many", SLOW, ReasonCode.MARKERS_DISAGREE),
        # The camera of a field in feet is right; its uncertainties are too small.
        ("many", FEET, ReasonCode.TAPED_IN_FEET),
        ("camera", FEET, ReasonCode.MARKERS_MISTAKEN),
    ],
)
def test_a_clip_without_a_shot_blames_a_contradiction_before_what_falls(
    wrong: str,
    cause: Reason,
    blamed: ReasonCode,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    known = site()
    if wrong == "many":
        for at, px in enumerate([(40.0, -30.0), (-35.0, 25.0), (30.0, 40.0), (-45.0, -20.0)]):
            known = moved(known, at, px)
    elif wrong == "camera":
        known = replace(known, position_m=known.position_m + 10.0 * np.eye(3)[0])
    session = written(tmp_path, known)
    calibration = calibrate(session, session.clips[0], SIZE)
    found = ClipResult((), ("a note", sentence([cause])), calibration.camera, (), (cause,))
    monkeypatch.setattr(clips, "measure", lambda *_: found)
    facts: ClipFacts = SimpleNamespace(frame_count=60)  # type: ignore[assignment]
    ready = clips.ReadyClip(session.clips[0], facts, calibration)
    measured = clips.measure_ready(session, ready)
    assert [each.code for each in measured.causes] == [blamed]
    assert measured.notes[-1] == sentence(measured.causes)
    assert measured.notes[-2] == "a note"
    if wrong == "camera":
        assert measured.notes[-1].endswith(
            "contradicts itself: the camera's taped position does not agree with the markers."
        )
    doubts = [each.code for each in clips.request_for(session, ready).doubts]
    assert doubts == ([ReasonCode.CAMERA_CONTRADICTED] if wrong else [])


def test_where_two_mistakes_compete_a_session_is_refused(tmp_path: Path) -> None:
    known = moved(site(), 2, (0.0, 25.0))
    session = written(tmp_path, replace(known, markers=known.markers[::2]))
    clip = session.clips[0]
    assert calibrate(session, clip, SIZE).competing
    with pytest.raises(InputErrors) as caught:
        calibrate_if_fixed(session, clip, SIZE)
    (said,) = caught.value.sentences()
    assert said.startswith("session.toml, [[marker]], for clips/a.mp4: something is wrong")
    assert said.endswith("look at these, and pick one more marker.")


def test_a_fault_of_a_marker_names_its_line_though_it_is_called_camera(tmp_path: Path) -> None:
    known = site()
    outside = replace(known.markers[1], name="camera", pixel=np.array([3000.0, 20.0]))
    session = written(tmp_path, replace(known, markers=(known.markers[0], outside)))
    with pytest.raises(InputErrors) as caught:
        calibrate(session, session.clips[0], SIZE)
    (said,) = caught.value.sentences()
    assert '[[marker]] 2 "camera", for clips/a.mp4: pixel [3000, 20] lies outside' in said


def test_one_wrong_marker_is_left_out_and_said(tmp_path: Path) -> None:
    session = written(tmp_path, moved(site(), 2, (60.0, 0.0)))
    found = calibrate_if_fixed(session, session.clips[0], SIZE)
    assert found is not None
    assert found.left_out == "marker 2"
    assert 'marker "marker 2" does not agree' in found.notes[0]


@dataclass(frozen=True)
class ShotsAt:
    """A start that finds the same shots whatever the clip holds."""

    shots: tuple[FittedShot, ...]

    def find(self, facts: ClipFacts, request: ClipRequest, observers: Observers) -> Findings:
        return Findings(CAMERA, list(self.shots))

    def causes_of_no_shot(
        self, facts: ClipFacts, request: ClipRequest, observers: Observers, rejected: object = ()
    ) -> tuple[Reason, ...]:
        return ()


def test_a_doubt_about_the_clip_stands_on_every_row_that_counts(tmp_path: Path) -> None:
    with ClipWriter(tmp_path / "a.mp4", (64, 48), 30) as writer:
        for _ in range(4):
            writer.write_bgr(np.zeros((48, 64, 3), np.uint8))
    session = written(tmp_path, site())
    request = replace(
        request_of(session, session.clips[0]), doubts=(Reason(ReasonCode.MARKER_LEFT_OUT),)
    )
    facts = inspect(tmp_path / "a.mp4")
    (first,) = measure(facts, request, ShotsAt((small(1),))).shots
    assert first.shot.quality is Quality.CHECK
    assert [reason.code for reason in first.shot.reasons] == [ReasonCode.MARKER_LEFT_OUT]
    assert not any(first.shot.reasons[0].spoils(figure) for figure in Figure)
    spoilt = replace(small(1), shot=replace(small(1).shot, quality=Quality.REJECTED))
    (kept,) = measure(facts, request, ShotsAt((spoilt,))).shots
    assert kept.shot.quality is Quality.REJECTED
    assert kept.shot.reasons == spoilt.shot.reasons


def test_what_is_said_of_every_clip_is_said_once() -> None:
    found = _together(
        {
            file: [
                Finding(Kind.FACT, f"{file}: {seconds} s."),
                Finding(Kind.ADVICE, f"{file}: stand a pole."),
                Finding(Kind.FAULT, f"session.toml, for {file}: in feet."),
            ]
            for file, seconds in (("clips/a.mp4", 5), ("clips/b.mp4", 6))
        }
    )
    assert [one.sentence for one in found] == [
        "clips/a.mp4: 5 s.",
        "clips/b.mp4: 6 s.",
        "Every clip: stand a pole.",
        "session.toml, for every clip: in feet.",
    ]
    assert [one.kind for one in found] == [Kind.FACT, Kind.FACT, Kind.ADVICE, Kind.FAULT]


def test_what_is_said_of_some_clips_names_them() -> None:
    """And of the only clip there is by its name."""
    files = ("clips/a.mp4", "clips/b.mp4")
    advice = {file: [Finding(Kind.ADVICE, f"{file}: stand a pole.")] for file in files}
    (one,) = _together({**advice, "clips/c.mp4": []})
    assert one.sentence == "clips/a.mp4, clips/b.mp4: stand a pole."
    (alone,) = _together({files[0]: advice[files[0]]})
    assert alone.sentence == "clips/a.mp4: stand a pole."


def test_a_fault_of_every_clip_is_stated_once_and_keeps_its_type() -> None:
    files = ("clips/a.mp4", "clips/b.mp4")
    shared = [Contradiction("in feet", where=f"[[marker]], for {file}") for file in files]
    own = [InputError("too dark", where=files[1]), InputError("no ball", where="[ball]")]
    found = clips._stated_once([*shared, *own], files)
    assert [str(one) for one in found] == [
        "[[marker]], for every clip: in feet.",
        "clips/b.mp4: too dark.",
        "[ball]: no ball.",
    ]
    assert isinstance(found[0], Contradiction)
    assert clips._stated_once(shared[:1], files[:1]) == shared[:1]


def test_heights_of_markers_show_the_fall_of_the_field(tmp_path: Path) -> None:
    flat = written(tmp_path / "flat", site())
    markers = [
        replace(one, ground_m=one.ground_m + np.array([0.0, 0.0, 0.02 * one.ground_m[0]]))
        for one in site().markers
    ]
    sloping = written(tmp_path / "sloping", replace(site(), markers=tuple(markers)))
    for session, rise, asked in ((flat, 0.0, True), (sloping, 0.02, False)):
        clip = session.clips[0]
        ground = request_of(session, clip).ground
        assert ground.rise_along == pytest.approx(rise, rel=0.02)
        advice = camera_advice(session, clip, calibrate(session, clip, SIZE))
        assert any("0.6° too small" in one.sentence for one in advice) is asked
