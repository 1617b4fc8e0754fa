"""Clips are measured side by side and once, with the same results as one after the other."""

import os
import pickle
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import cv2
import numpy as np
import pytest

from calibration.errors import InputError, InputErrors
from tests.fen_lane import SESSION
from tests.tracker.test_workflow_results import pretend, small
from tracker.measurement import ClipResult
from tracker.results import cache
from tracker.results.digests import sha256_of
from tracker.session import AddedShot, read_session
from tracker.session.stated import Place
from tracker.video import ClipWriter
from tracker.workflow import clips as measuring
from tracker.workflow import inputs, jobs
from tracker.workflow.added import kept_or_measured
from tracker.workflow.inputs import session_digests
from tracker.workflow.measure import MeasureOptions, measure_session, measure_sessions
from tracker.workflow.measure import _all_tasks as all_tasks
from tracker.workflow.stands import Moved

CLIP = SESSION[SESSION.index("[[clip]]") :]


def filmed(folder: Path, levels: list[int], frames: int = 40) -> Path:
    """A session with a clip of each level."""
    (folder / "clips").mkdir(parents=True)
    text = SESSION[: SESSION.index("[[clip]]")]
    for number, level in enumerate(levels):
        with ClipWriter(folder / "clips" / f"{number}.mp4", (320, 180), 60) as writer:
            for index in range(frames):
                picture = np.full((180, 320, 3), level, np.uint8)
                cv2.circle(picture, (20 + 7 * index, 90 - 2 * index), 3, (90, 240, 240), -1)
                writer.write_bgr(picture)
        text += CLIP.replace("140mm.mp4", f"{number}.mp4") + "\n"
    (folder / "session.toml").write_text(text, encoding="utf-8")
    return folder


def written(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (folder / "results").iterdir()}


@pytest.mark.long
def test_side_by_side_gives_the_same_bytes_as_one_after_the_other(tmp_path: Path) -> None:
    steps: list[tuple[str, int, int]] = []
    one = filmed(tmp_path / "lane", [110, 120], frames=8)
    measure_session(one)
    before = written(one)
    kept = tmp_path / "cache"
    options = MeasureOptions(jobs=2, cache=kept)
    measure_session(one, lambda *step: steps.append(step), options)
    assert written(one) == before
    assert {step[0] for step in steps} == {"clips/0.mp4", "clips/1.mp4"}
    assert all(done <= of for _, done, of in steps)
    again: list[tuple[str, int, int]] = []
    measure_session(one, lambda *step: again.append(step), options)
    assert again == [], "nothing changed, so no frame is looked at"
    assert written(one) == before


def test_each_task_has_the_digests_of_its_own_session(tmp_path: Path) -> None:
    lanes = [filmed(tmp_path / name, [level], frames=8) for name, level in (("a", 90), ("b", 120))]
    sessions = [read_session(lane) for lane in lanes]
    tasks = all_tasks(sessions, MeasureOptions())
    assert [[task.digests for task in each] for each in tasks] == [
        [session_digests(session)] for session in sessions
    ]
    assert tasks[0][0].digests != tasks[1][0].digests


def test_what_is_written_while_clips_are_hashed_is_no_part_of_what_was_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lanes = [filmed(tmp_path / name, [level], frames=8) for name, level in (("a", 90), ("b", 120))]
    sessions = [read_session(lane) for lane in lanes]
    read = session_digests(sessions[1])

    def hashed(path: Path) -> str:
        if path.suffix == ".mp4":
            with (lanes[1] / "session.toml").open("a", encoding="utf-8") as file:
                file.write("# a remark\n")
        return sha256_of(path)

    monkeypatch.setattr(inputs, "sha256_of", hashed)
    _, (task,) = all_tasks(sessions, MeasureOptions())
    assert task.digests == read


class Counted:
    """Counts the clips that are measured."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, shots: int = 0) -> None:
        self.files: list[str] = []
        pretend(monkeypatch, shots)
        inner = measuring.measure

        def measure(facts, request, start, observers) -> ClipResult:  # type: ignore[no-untyped-def]
            self.files.append(request.clip)
            return inner(facts, request, start, observers)

        monkeypatch.setattr(measuring, "measure", measure)

    def taken(self) -> list[str]:
        files, self.files = self.files, []
        return files


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counted:
    return Counted(monkeypatch)


@pytest.mark.campaign
def test_only_what_changed_is_measured_again(tmp_path: Path, counted: Counted) -> None:
    folder = filmed(tmp_path / "lane", [110, 120])
    options = MeasureOptions(cache=tmp_path / "cache")
    both = ["clips/0.mp4", "clips/1.mp4"]
    measure_session(folder, options=options)
    assert counted.taken() == both
    first = written(folder)
    measure_session(folder, options=options)
    assert counted.taken() == [] and written(folder) == first
    path = folder / "session.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + "\n# a remark, and another setup\n[[setup]]\nname = 'x'\n", "utf-8")
    measure_session(folder, options=options)
    assert counted.taken() == []
    path.write_text(text.replace("height_m = 0.8", "height_m = 0.9"), encoding="utf-8")
    measure_session(folder, options=options)
    assert counted.taken() == both
    path.write_text(text, encoding="utf-8")
    filmed(tmp_path / "other", [200])
    (tmp_path / "other" / "clips" / "0.mp4").replace(folder / "clips" / "0.mp4")
    measure_session(folder, options=options)
    assert counted.taken() == ["clips/0.mp4"]
    measure_session(folder, options=replace(options, from_anywhere=True))
    assert counted.taken() == both
    measure_session(folder)
    assert counted.taken() == both


def test_a_program_that_changed_measures_anew(
    tmp_path: Path, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = filmed(tmp_path / "lane", [110])
    options = MeasureOptions(cache=tmp_path / "cache")
    measure_session(folder, options=options)
    monkeypatch.setattr(cache, "program_digest", lambda: "another")
    measure_session(folder, options=options)
    assert counted.taken() == ["clips/0.mp4"] * 2


def test_an_interrupted_run_goes_on_with_the_next_clip(
    tmp_path: Path, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = filmed(tmp_path / "lane", [110, 120])
    options = MeasureOptions(cache=tmp_path / "cache")
    whole = jobs.measure_ready

    def interrupted(session, ready, *rest):  # type: ignore[no-untyped-def]
        if ready.clip.file == "clips/1.mp4":
            raise KeyboardInterrupt
        return whole(session, ready, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(jobs, "measure_ready", interrupted)
        with pytest.raises(KeyboardInterrupt):
            measure_session(folder, options=options)
    assert counted.taken() == ["clips/0.mp4"]
    assert not (folder / "results").exists()
    measure_session(folder, options=options)
    assert counted.taken() == ["clips/1.mp4"]


def test_a_decision_changes_the_rows_without_measuring(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch, shots=1)
    folder = filmed(tmp_path / "lane", [110])
    options = MeasureOptions(cache=tmp_path / "cache")
    (shot,) = measure_session(folder, options=options).shots
    before = written(folder)
    review = (
        f'[[decision]]\nclip = "{shot.clip}"\nrelease_s = {shot.release_s}\n'
        'verdict = "reject"\nreason = "net"\n'
    )
    (folder / "review.toml").write_text(review, encoding="utf-8")
    measure_session(folder, options=options)
    assert counted.taken() == ["clips/0.mp4"]
    after = written(folder)
    assert b"rejected" in after["shots.csv"]
    assert after["0-shot-1.jpg"] != before["0-shot-1.jpg"]
    (folder / "review.toml").unlink()
    measure_session(folder, options=options)
    assert written(folder) == before


def test_a_session_that_was_moved_is_not_measured_again(tmp_path: Path, counted: Counted) -> None:
    folder = filmed(tmp_path / "lane", [110])
    options = MeasureOptions(cache=tmp_path / "cache")
    measure_session(folder, options=options)
    moved = folder.rename(tmp_path / "moved")
    result = measure_session(moved, options=options)
    assert counted.taken() == ["clips/0.mp4"]
    assert result.clips[0].clip.path == moved / "clips" / "0.mp4"


def test_a_clip_that_shows_another_setup_is_not_measured_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch, shots=1)
    folder = filmed(tmp_path / "lane", [110])
    options = MeasureOptions(cache=tmp_path / "cache")
    (before,) = measure_session(folder, options=options).clips
    path = folder / "session.toml"
    path.write_text(path.read_text("utf-8").replace("140 mm wheels", "group 3"), "utf-8")
    (after,) = measure_session(folder, options=options).clips
    assert counted.taken() == ["clips/0.mp4"]
    assert [one.shot.setup for one in before.shots] == ["140 mm wheels"]
    assert [one.shot for one in after.shots] == [
        replace(one.shot, setup="group 3") for one in before.shots
    ]
    assert b"group 3" in written(folder)["shots.csv"]


def test_an_added_shot_that_is_kept_is_of_the_setup_that_its_clip_shows_now(tmp_path: Path) -> None:
    task = Mock(cache=tmp_path, key="clip")
    task.ready.clip.setup = "group 3"
    added = AddedShot("0.mp4", (Place(0.5, (1.0, 2.0)), Place(0.6, (3.0, 4.0))))
    key = cache.key_of(["clip", "added", repr((added.places, added.px_u))])
    cache.store(tmp_path, key, small(1))
    assert kept_or_measured(task, Mock(), added).shot.setup == "group 3"
    moved = replace(added, setup="group 4")
    assert kept_or_measured(task, Mock(), moved).shot.setup == "group 4"


def test_an_entry_that_cannot_be_read_is_measured_again(tmp_path: Path, counted: Counted) -> None:
    folder, kept = filmed(tmp_path / "lane", [110]), tmp_path / "cache"
    options = MeasureOptions(cache=kept)
    measure_session(folder, options=options)
    for path in kept.iterdir():
        path.write_bytes(path.read_bytes()[:50])
    measure_session(folder, options=options)
    assert counted.taken() == ["clips/0.mp4"] * 2
    assert [path.suffix for path in kept.iterdir()] == ["", ""]


def test_the_oldest_entries_go_when_there_are_too_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = len(pickle.dumps(b"x" * 1000, protocol=pickle.HIGHEST_PROTOCOL))
    monkeypatch.setattr(cache, "MOST_BYTES", 2 * size)
    for number in range(4):
        cache.store(tmp_path, f"{number}", b"x" * 1000)
        os.utime(tmp_path / f"{number}", (number, number))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["2", "3"]
    assert cache.load(tmp_path, "0") is None and cache.load(tmp_path, "3") == b"x" * 1000


def test_a_cache_that_may_only_be_read_or_is_no_folder_costs_no_measurement(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.store(tmp_path, "kept", b"x")

    def refused(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "utime", refused)
    assert cache.load(tmp_path, "kept") == cache.load(tmp_path, "kept") == b"x"
    cache.store(tmp_path / "kept", "in a file", b"x")
    assert cache.load(tmp_path / "kept", "in a file") is None


def test_keys_tell_their_parts_apart() -> None:
    assert cache.key_of(["ab", "c"]) != cache.key_of(["a", "bc"])
    assert cache.key_of(["a"]) == cache.key_of(["a"])


def test_the_cache_can_be_moved_and_switched_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(cache.FOLDER_VARIABLE, "")
    assert cache.cache_folder() is None
    monkeypatch.setenv(cache.FOLDER_VARIABLE, "here")
    assert cache.cache_folder() == Path("here")
    monkeypatch.delenv(cache.FOLDER_VARIABLE)
    folder = cache.cache_folder()
    assert folder is not None and "lobmeter" in str(folder)


def test_faults_of_several_sessions_come_at_once_and_before_anything_is_measured(
    tmp_path: Path, counted: Counted
) -> None:
    folders = [filmed(tmp_path / name, [110]) for name in ("a", "b", "c")]
    for folder in folders[1:]:
        (folder / "clips" / "0.mp4").write_bytes(b"no film")
    with pytest.raises(InputErrors) as caught:
        list(measure_sessions(folders))
    assert len(caught.value.errors) == 2
    assert counted.taken() == []


def task_of(folder: Path) -> jobs.Task:
    session = read_session(folder)
    (ready,) = measuring.ready_clips(session)
    return jobs.Task(session, ready, False, False, None, {}, "0.mp4")


def test_a_worker_that_does_not_see_the_clip_says_so(tmp_path: Path) -> None:
    task = task_of(filmed(tmp_path / "lane", [110], frames=8))
    task.ready.clip.path.unlink()
    with pytest.raises(InputError) as caught:
        jobs.measure_task(task, print)
    (sentence,) = caught.value.sentences()
    assert "0.mp4: cannot be seen from " in sentence and "under the same path" in sentence


def test_a_worker_with_another_program_refuses(tmp_path: Path) -> None:
    task = replace(task_of(filmed(tmp_path / "lane", [110], frames=8)), program="another")
    with pytest.raises(InputError, match="another version of lobmeter"):
        jobs.measure_task(task, print)


def test_progress_is_reported_in_steps_that_can_be_seen() -> None:
    steps: list[object] = []
    step = jobs._Steps("0.mp4", steps.append)
    for done in range(10_001):
        step("", done, 10_000)
    assert len(steps) == jobs.STEPS + 1
    assert steps[0] == ("0.mp4", 0, 10_000) and steps[-1] == ("0.mp4", 10_000, 10_000)
    step("", 0, 10_000)
    assert steps[-1] == ("0.mp4", 0, 10_000), "a second look at the clip"


def test_every_clip_that_is_to_be_measured_is_announced_before_the_first(
    tmp_path: Path, counted: Counted
) -> None:
    folder = filmed(tmp_path / "lane", [110, 120], frames=8)
    options = MeasureOptions(cache=tmp_path / "cache")
    heard: list[object] = []
    measure_session(folder, lambda *said: heard.append(said), options)
    assert heard[:2] == [("clips/0.mp4", 0, 8), ("clips/1.mp4", 0, 8)]
    heard.clear()
    measure_session(folder, lambda *said: heard.append(said), options)
    assert heard == []


def test_a_clip_of_another_view_is_named_first_and_measured_anew(
    tmp_path: Path, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = filmed(tmp_path / "lane", [110], frames=8)
    options = MeasureOptions(cache=tmp_path / "cache")
    measure_session(folder, options=options)
    moved = Moved("clips/0.mp4", "clips/1.mp4", "background lies 9 px off", True, False)
    monkeypatch.setattr(measuring, "moved_clips", lambda *_: (moved,))
    said: list[object] = []
    options = replace(options, on_note=said.append)
    measure_session(folder, lambda *step: said.append(step), options)
    assert said[:2] == [moved.sentence, ("clips/0.mp4", 0, 8)]
    assert counted.taken() == ["clips/0.mp4"] * 2


def test_pictures_without_a_decision_are_drawn_once(
    tmp_path: Path, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = filmed(tmp_path / "lane", [110])
    drawn: list[str] = []
    whole = jobs.clip_pictures

    def draw(ready, clip, log, *close_ups):  # type: ignore[no-untyped-def]
        drawn.append(clip.clip.file)
        return whole(ready, clip, log, *close_ups)

    monkeypatch.setattr(jobs, "clip_pictures", draw)
    options = MeasureOptions(cache=tmp_path / "cache")
    measure_session(folder, options=options)
    measure_session(folder, options=options)
    assert drawn == ["clips/0.mp4"]
    assert counted.taken() == ["clips/0.mp4"]
