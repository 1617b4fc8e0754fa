"""From a folder to its results, the measuring of the clip itself left to an invented shot."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import cv2
import numpy as np
import pandas as pd
import pytest

from calibration.errors import InputError
from tests.fen_lane import SESSION
from tests.tracker.invented_shot import CAMERA, invented
from tracker.app import tasks
from tracker.app.work import Messenger
from tracker.measurement import ClipRequest, ClipResult, FittedShot
from tracker.measurement.starts import ReleaseStart, Start
from tracker.records import Budget, Quality, Reason, ReasonCode, Shot
from tracker.results import cache
from tracker.results.rows import read_shots
from tracker.session import ClipEntry, read_session
from tracker.video import ClipWriter
from tracker.workflow import clips as measuring
from tracker.workflow import samples
from tracker.workflow.demo import compare
from tracker.workflow.inputs import picture_names
from tracker.workflow.kept import kept_session
from tracker.workflow.measure import MeasureOptions, measure_session
from tracker.workflow.stand import air_of, ball_of, calibrate, request_of, site_of


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "fen lane"
    (folder / "clips").mkdir(parents=True)
    grey = np.full((180, 320, 3), 120, np.uint8)
    with ClipWriter(folder / "clips" / "140mm.mp4", (320, 180), 60) as writer:
        for _ in range(40):
            writer.write_bgr(grey)
    (folder / "session.toml").write_text(SESSION, encoding="utf-8")
    return folder


def small(number: int) -> FittedShot:
    """The invented shot as it would lie in a frame of 320 by 180, in frames that exist."""
    measured = invented()[0]
    assert measured.path is not None
    points = tuple(
        replace(point, shot=number, frame=index, column_px=point.column_px / 6, row_px=100.0)
        for index, point in enumerate(measured.points[:30])
    )
    path = replace(measured.path, pixels=measured.path.pixels / 6)
    return FittedShot(replace(measured.shot, shot=number), points, path)


def pretend(monkeypatch: pytest.MonkeyPatch, shots: int) -> None:
    def measured(
        facts: object, request: ClipRequest, start: Start, observers: object
    ) -> ClipResult:
        found = tuple(small(number + 1) for number in range(shots))
        camera = start.camera if isinstance(start, ReleaseStart) else CAMERA
        return ClipResult(found, ("a note",), camera)

    monkeypatch.setattr(measuring, "measure", measured)


def test_what_the_page_keeps_and_measures_again_is_as_the_results_were_made(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(cache.FOLDER_VARIABLE, str(tmp_path / "cache"))
    for from_anywhere, shots in ((False, 1), (True, 2), (False, 1)):
        pretend(monkeypatch, shots)
        options = MeasureOptions(cache=cache.cache_folder(), from_anywhere=from_anywhere)
        measure_session(folder, options=options)
        tasks.measure(Messenger(Mock()), folder)
        kept = kept_session(folder, cache.cache_folder())
        assert kept is not None and len(kept.clips[0].shots) == shots
        assert len(read_shots(folder / "results" / "shots.csv")) == shots


def test_tables_and_one_picture_a_shot_are_written(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(monkeypatch, 2)
    result = measure_session(folder)
    assert sorted(path.name for path in result.folder.iterdir()) == [
        "140mm-shot-1.jpg",
        "140mm-shot-2.jpg",
        "README.txt",
        "digests.json",
        "shots.csv",
        "shots.json",
        "tracks.csv",
    ]
    rows = pd.read_csv(result.folder / "shots.csv")
    assert rows.shot.tolist() == [1, 2]
    assert len(pd.read_csv(result.folder / "tracks.csv")) == 60
    picture = cv2.imread(str(result.folder / "140mm-shot-1.jpg"))
    assert picture is not None
    assert picture.shape[1] == 1920
    assert result.clips[0].notes[-1] == "a note"


def test_pictures_that_explain_come_when_asked_for_and_go_when_not(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(monkeypatch, 1)
    results = measure_session(folder, options=MeasureOptions(explained=True)).folder
    assert (results / "140mm-shot-1-explained.jpg").exists()
    pretend(monkeypatch, 0)
    measure_session(folder, options=MeasureOptions(explained=True))
    names = {path.name for path in results.iterdir()}
    assert "140mm-explained.jpg" in names
    assert "140mm-shot-1-explained.jpg" not in names
    measure_session(folder)
    assert not (results / "140mm-explained.jpg").exists()


def test_json_holds_the_digest_of_every_input(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import hashlib

    pretend(monkeypatch, 1)
    measure_session(folder)
    document = json.loads((folder / "results" / "shots.json").read_text(encoding="utf-8"))
    digests = {one["file"]: one["sha256"] for one in document["inputs"]}
    assert digests == {
        name: hashlib.sha256((folder / name).read_bytes()).hexdigest()
        for name in ("session.toml", "clips/140mm.mp4")
    }
    assert document["pictures"] == ["140mm-shot-1.jpg"]


@pytest.mark.campaign
def test_pictures_of_an_earlier_run_go_and_other_files_stay(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(monkeypatch, 2)
    results = measure_session(folder).folder
    (results / "my notes.txt").write_text("kept", encoding="utf-8")
    pretend(monkeypatch, 1)
    measure_session(folder)
    names = {path.name for path in results.iterdir()}
    assert "140mm-shot-2.jpg" not in names
    assert {"140mm-shot-1.jpg", "my notes.txt"} <= names


def test_a_run_that_breaks_off_leaves_the_earlier_results(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(monkeypatch, 1)
    results = measure_session(folder).folder
    before = {path.name: path.read_bytes() for path in results.iterdir()}

    def broken(*_: object) -> ClipResult:
        raise InputError("the clip breaks off", where="clips/140mm.mp4")

    monkeypatch.setattr(measuring, "measure", broken)
    with pytest.raises(InputError):
        measure_session(folder)
    assert {path.name: path.read_bytes() for path in results.iterdir()} == before


def test_clips_of_one_name_in_two_folders_keep_their_pictures_apart() -> None:
    def clip(file: str) -> ClipEntry:
        return ClipEntry(file, Path(file), "s")

    assert picture_names([clip("a/one.mp4"), clip("b/two.mp4")]) == {
        "a/one.mp4": "one",
        "b/two.mp4": "two",
    }
    names = picture_names([clip("a/one.mp4"), clip("b/One.mov"), clip("c/two.mp4")])
    assert len({name.casefold() for name in names.values()}) == 3


def test_what_the_session_says_reaches_the_measurement(folder: Path) -> None:
    text = SESSION.replace(
        "[release]",
        '[ball]\ntype = "hockey"\nmass_g = 160\n[air]\naltitude_m = 1500\nwind_across_mps = -2\n'
        "[release]\nalong_m = 0.4",
    ).replace("[camera]", "[camera]\nlevel = true\nreadout_s = 0.01\nfield_of_view_deg = 60.0")
    (folder / "session.toml").write_text(text, encoding="utf-8")
    session = read_session(folder)
    request = request_of(session, session.clips[0])
    assert request.release_m.tolist() == [0.4, 0.0, 0.8]
    assert request.ball == ball_of(session)
    assert request.ball.name == "hockey"
    assert request.ball.mass_kg == pytest.approx(0.160)
    assert request.air.wind_across_mps == -2.0
    # ISO 2533 gives 1.0581 kg/m3 of dry air at 1500 m; half saturated air is lighter.
    assert 1.04 < air_of(session).density_kgpm3 < 1.0581
    assert request.readout_s == 0.01
    site = site_of(session, session.clips[0], (320, 180))
    assert site.field_of_view_deg == 60.0
    assert site.level_u_deg == 1.0
    assert site.position_m is not None
    assert site.position_m.tolist() == [10.0, -30.0, 1.4]
    assert [marker.name for marker in site.markers] == ["10 m cone", "20 m cone", "gate post"]


def test_a_camera_that_was_not_level_is_not_said_to_be(folder: Path) -> None:
    session = read_session(folder)
    assert site_of(session, session.clips[0], (320, 180)).level_u_deg is None


def test_the_fault_of_a_marker_names_its_table(folder: Path) -> None:
    session = read_session(folder)
    with pytest.raises(InputError, match=r"session\.toml, \[\[marker\]\] 2 \"20 m cone\", for"):
        calibrate(session, session.clips[0], (200, 180))


def sample_sessions(root: Path) -> Path:
    source = root / "sample_clips"
    (source / "wide" / "clips").mkdir(parents=True)
    (source / "wide" / "session.toml").write_text("name = 'wide'", encoding="utf-8")
    (source / "wide" / "clips" / "a.mp4").write_bytes(b"clip")
    (source / "wide" / "results").mkdir()
    (source / "wide" / "results" / "shots.csv").write_text("old", encoding="utf-8")
    return source


def test_samples_are_copied_without_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = sample_sessions(tmp_path)
    monkeypatch.setattr(samples, "samples_folder", lambda: source)
    (folder,) = samples.copy_samples(None, beside=tmp_path)
    assert folder == tmp_path / "lobmeter-demo" / "wide"
    assert (folder / "clips" / "a.mp4").read_bytes() == b"clip"
    assert not (folder / "results").exists()
    assert samples.copy_samples(None, beside=tmp_path) == [folder]


def test_a_copy_that_somebody_changed_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = sample_sessions(tmp_path)
    monkeypatch.setattr(samples, "samples_folder", lambda: source)
    (folder,) = samples.copy_samples(None, beside=tmp_path)
    (folder / "session.toml").write_text("name = 'mine'", encoding="utf-8")
    (other,) = samples.copy_samples(None, beside=tmp_path)
    assert other == tmp_path / "lobmeter-demo-2" / "wide"
    assert (folder / "session.toml").read_text(encoding="utf-8") == "name = 'mine'"
    with pytest.raises(InputError, match=r"another wide/session\.toml"):
        samples.copy_samples(tmp_path / "lobmeter-demo", beside=tmp_path)


def test_the_samples_are_found_and_each_has_a_truth() -> None:
    folder = samples.samples_folder()
    sessions = [path.parent for path in folder.glob("*/session.toml")]
    assert sessions
    for session in sessions:
        truth = json.loads((session / "truth.json").read_text(encoding="utf-8"))
        entries = read_session(session)
        assert {clip["file"] for clip in truth["clips"]} == {clip.file for clip in entries.clips}


def test_the_samples_together_stay_small() -> None:
    files = [path for path in samples.samples_folder().rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) < 25e6


def shot_at(release_s: float) -> Shot:
    return replace(invented()[0].shot, release_s=release_s)


def test_measured_and_true_shots_are_paired_by_their_release() -> None:
    truths = [{"release_s": 1.0}, {"release_s": 4.0}, {"release_s": 9.0}]
    shots = [shot_at(0.98), shot_at(4.2), shot_at(4.02), shot_at(6.0)]
    compared = compare("a.mp4", shots, truths)
    assert [(shot.release_s, truth["release_s"]) for shot, truth in compared.pairs] == [
        (0.98, 1.0),
        (4.02, 4.0),
    ]
    assert [truth["release_s"] for truth in compared.missed] == [9.0]
    assert [shot.release_s for shot in compared.invented] == [4.2, 6.0]


def test_a_copy_of_a_clip_that_is_cut_off_is_refused(folder: Path) -> None:
    path = folder / "clips" / "140mm.mp4"
    whole = path.read_bytes()
    shutil.copyfile(path, folder / "whole.mp4")
    path.write_bytes(whole[: len(whole) * 9 // 10])
    with pytest.raises(InputError, match=r"clips/140mm\.mp4: the video is cut off: \d+ bytes"):
        measure_session(folder)


def test_the_budget_of_each_shot_lies_beside_its_row(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    budget = Budget({"carry_m": {"pixels": 0.03, "taping": 0.04}}, {"carry_m": 0.04})

    def measured(
        facts: object, request: ClipRequest, start: ReleaseStart, observers: object
    ) -> ClipResult:
        asked.append((start.camera, request))
        return ClipResult((replace(small(1), budget=budget),), (), start.camera)

    monkeypatch.setattr(measuring, "measure", measured)
    result = measure_session(folder)
    (row,) = json.loads((result.folder / "shots.json").read_text(encoding="utf-8"))["shots"]
    assert row["budget"] == {"carry_m": {"pixels": 0.03, "taping": 0.04}}
    assert row["shared_u"] == {"carry_m": 0.04}
    ((camera, request),) = asked
    together = sum(request.camera_parts.values())
    u = np.sqrt(np.diag(camera.covariance))
    assert np.abs((together - camera.covariance) / np.outer(u, u)).max() < 1e-6


REVIEW = """\
[[decision]]
clip = "clips/140mm.mp4"
release_s = {first}
verdict = "reject"
reason = "it touched the net."

[[decision]]
clip = "clips/140mm.mp4"
release_s = {second}
setup = "100 mm wheels"

[[decision]]
clip = "clips/140mm.mp4"
release_s = 500.0
verdict = "accept"
reason = "nobody saw it"
"""


@pytest.mark.campaign
def test_decisions_hold_after_a_new_measurement_and_those_without_a_shot_are_reported(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    released = small(1).shot.release_s

    def measured(
        facts: object, request: ClipRequest, start: ReleaseStart, observers: object
    ) -> ClipResult:
        shots = tuple(
            replace(shot, shot=replace(shot.shot, release_s=released + 5.0 * index + 0.1))
            for index, shot in enumerate([small(1), small(2)])
        )
        return ClipResult(shots, (), start.camera)

    monkeypatch.setattr(measuring, "measure", measured)
    text = SESSION.replace("[[clip]]", '[[setup]]\nname = "100 mm wheels"\n\n[[clip]]')
    (folder / "session.toml").write_text(text, encoding="utf-8")
    review = REVIEW.format(first=released, second=released + 5.0)
    (folder / "review.toml").write_text(review, encoding="utf-8")
    result = measure_session(folder)
    first, second = result.shots
    assert (first.quality, first.setup) == (Quality.REJECTED, "140 mm wheels")
    assert first.reason.startswith("A person rejected it: it touched the net")
    assert (second.quality, second.setup) == (small(2).shot.quality, "100 mm wheels")
    (note,) = result.notes
    assert 'review.toml, line 12, [[decision]] 3 "clips/140mm.mp4": no shot' in note
    document = json.loads((result.folder / "shots.json").read_text(encoding="utf-8"))
    assert "review.toml" in {one["file"] for one in document["inputs"]}
    rows = read_shots(result.folder / "shots.csv")
    assert [row.reason for row in rows] == [shot.reason for shot in result.shots]
    (folder / "review.toml").unlink()
    assert measure_session(folder).shots[0].quality is small(1).shot.quality


def test_an_accepted_row_is_good_and_keeps_its_doubts(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    doubt = Reason(ReasonCode.LANDING_NOT_SEEN)
    row = replace(small(1).shot, quality=Quality.CHECK, reasons=(doubt,))
    bare = replace(row, shot=2, release_s=row.release_s + 4.0, carry_m=None)

    def measured(
        facts: object, request: ClipRequest, start: ReleaseStart, observers: object
    ) -> ClipResult:
        shots = (replace(small(1), shot=row), replace(small(2), shot=bare))
        return ClipResult(shots, (), start.camera)

    monkeypatch.setattr(measuring, "measure", measured)
    review = "".join(
        f'[[decision]]\nclip = "clips/140mm.mp4"\nrelease_s = {one.release_s}\n'
        'verdict = "accept"\nreason = "seen by two"\n'
        for one in (row, bare)
    )
    (folder / "review.toml").write_text(review, encoding="utf-8")
    result = measure_session(folder)
    first, second = result.shots
    assert first.quality is Quality.GOOD
    assert [reason.code for reason in first.reasons] == [ReasonCode.ACCEPTED_BY_HAND, doubt.code]
    assert second.quality is Quality.CHECK
    assert "shot 2 of clips/140mm.mp4 has no figures" in result.notes[0]
