"""Clips are measured as they appear in a folder, each film once, and go into the logbook."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.errors import InputError
from tests.fen_lane import SESSION
from tests.shared import folder_of
from tests.tracker.test_workflow_jobs import Counted
from tests.tracker.test_workflow_jobs import counted as counted
from tracker.logbook import Added, Filter
from tracker.session import read_session
from tracker.video import ClipWriter
from tracker.workflow import watch as watching
from tracker.workflow.log import list_sessions
from tracker.workflow.measure import MeasureOptions
from tracker.workflow.own_session import own_session
from tracker.workflow.settling import PATIENCE, Settling
from tracker.workflow.watch import Outcome, WatchOptions, films_in, watched

TEMPLATE = SESSION[: SESSION.index("[[clip]]")]


@pytest.fixture(scope="session")
def films(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two small films that differ, with markers' frames."""

    def draw(folder: Path) -> None:
        folder.mkdir()
        for name, level in (("a.mp4", 110), ("b.mp4", 130)):
            with ClipWriter(folder / name, (320, 180), 60) as writer:
                for _ in range(40):
                    writer.write_bgr(np.full((180, 320, 3), level, np.uint8))

    return folder_of(tmp_path_factory, "watched-films", draw)


@pytest.fixture
def lane(tmp_path: Path) -> Path:
    folder = tmp_path / "camera"
    folder.mkdir()
    return folder


class Waiter:
    """Does the next of some steps at each wait, and interrupts when there is none left."""

    def __init__(self, *steps: Callable[[], object]) -> None:
        self._steps = list(steps)
        self.waits: list[float] = []

    def __call__(self, seconds: float) -> None:
        self.waits.append(seconds)
        if not self._steps:
            raise KeyboardInterrupt
        self._steps.pop(0)()


def nothing() -> None: ...


def put(film: Path, target: Path) -> Callable[[], object]:
    return lambda: shutil.copyfile(film, target)


def watch(
    folder: Path, *steps: Callable[[], object], found: list[Outcome] | None = None, **given: Any
) -> list[Outcome]:
    """Watch until the steps are used up."""
    options = WatchOptions(
        MeasureOptions(cache=None), str(folder.parent / "book.sqlite3"), wait=Waiter(*steps)
    )
    outcomes: list[Outcome] = [] if found is None else found
    with pytest.raises(KeyboardInterrupt):
        for outcome in watched(folder, None, replace(options, **given)):
            outcomes.append(outcome)
    return outcomes


def once(folder: Path, *steps: Callable[[], object], **given: Any) -> list[Outcome]:
    options = WatchOptions(
        MeasureOptions(cache=None), str(folder.parent / "book.sqlite3"), True, wait=Waiter(*steps)
    )
    return list(watched(folder, None, replace(options, **given)))


def logged(folder: Path) -> list[str]:
    return [line.name for line in list_sessions(Filter(), url=str(folder.parent / "book.sqlite3"))]


def test_a_clip_that_appears_is_measured_once_and_logged(
    lane: Path, films: Path, counted: Counted
) -> None:
    (outcome,) = watch(lane, put(films / "a.mp4", lane / "IMG_1.mp4"), *[nothing] * 4)
    assert outcome.clip == lane / "IMG_1.mp4" and outcome.faults == ()
    assert outcome.result is not None
    assert (lane / "IMG_1-results" / "shots.csv").is_file()
    assert outcome.result.folder == lane / "IMG_1-results"
    assert outcome.entered is not None and outcome.entered.done is Added.NEW
    assert counted.taken() == ["IMG_1.mp4"]
    assert logged(lane) == ["IMG_1"]
    assert watch(lane, *[nothing] * 4) == [], "an earlier run has measured it"
    assert counted.taken() == []


def test_a_clip_that_grows_is_waited_for(lane: Path, films: Path, counted: Counted) -> None:
    whole = (films / "a.mp4").read_bytes()
    target = lane / "IMG_1.mp4"
    parts = [len(whole) // 4, len(whole) // 2, len(whole) - 1, len(whole)]
    found: list[Outcome] = []
    early: list[int] = []

    def grow(size: int) -> Callable[[], object]:
        def written() -> None:
            early.append(len(found))
            target.write_bytes(whole[:size])

        return written

    watch(lane, *(grow(size) for size in parts), nothing, found=found)
    assert early == [0] * 4
    assert [outcome.clip for outcome in found] == [target]
    assert counted.taken() == ["IMG_1.mp4"]


def test_a_clip_that_stalls_half_way_is_measured_when_it_is_whole(
    lane: Path, films: Path, counted: Counted
) -> None:
    whole, target = (films / "a.mp4").read_bytes(), lane / "IMG_1.mp4"
    stalled = [lambda: target.write_bytes(whole[: len(whole) // 2]), *[nothing] * (PATIENCE - 1)]
    (outcome,) = watch(lane, *stalled, lambda: target.write_bytes(whole), nothing)
    assert outcome.result is not None and outcome.faults == ()


def test_names_of_unfinished_copies_are_left_alone_until_they_change(
    lane: Path, films: Path, counted: Counted
) -> None:
    for temporary in (".IMG_1.mp4", "IMG_1.mp4.part", "IMG_1.mp4.tmp"):
        put(films / "a.mp4", lane / temporary)()
    assert watch(lane, *[nothing] * 4) == []
    (outcome,) = watch(
        lane, lambda: (lane / "IMG_1.mp4.part").rename(lane / "IMG_1.mp4"), *[nothing] * 3
    )
    assert outcome.clip.name == "IMG_1.mp4" and outcome.result is not None


def test_a_clip_that_is_renamed_while_it_settles_is_measured_under_its_new_name(
    lane: Path, films: Path, counted: Counted
) -> None:
    (outcome,) = watch(
        lane,
        put(films / "a.mp4", lane / "tmp-1.mp4"),
        lambda: (lane / "tmp-1.mp4").rename(lane / "IMG_1.mp4"),
        *[nothing] * 4,
    )
    assert outcome.clip.name == "IMG_1.mp4" and outcome.faults == ()
    assert counted.taken() == ["IMG_1.mp4"]


def test_the_same_film_under_another_name_is_not_measured_again(
    lane: Path, films: Path, counted: Counted
) -> None:
    first, second = watch(
        lane,
        put(films / "a.mp4", lane / "IMG_1.mp4"),
        *[nothing] * 2,
        put(films / "a.mp4", lane / "IMG_1 (1).mp4"),
        *[nothing] * 4,
    )
    assert first.clip.name == "IMG_1.mp4" and first.same_as is None
    assert second.clip.name == "IMG_1 (1).mp4" and second.same_as == lane / "IMG_1-results"
    assert second.result is None and not second.needs_look
    assert counted.taken() == ["IMG_1.mp4"] and logged(lane) == ["IMG_1"]


def test_a_film_that_takes_an_old_name_is_measured(
    lane: Path, films: Path, counted: Counted
) -> None:
    target = lane / "IMG_1.mp4"
    outcomes = watch(
        lane, put(films / "a.mp4", target), *[nothing] * 2, put(films / "b.mp4", target), nothing
    )
    assert [outcome.result is not None for outcome in outcomes] == [True, True]
    assert counted.taken() == ["IMG_1.mp4"] * 2


def test_a_clip_that_cannot_be_read_is_named_once_and_the_watch_goes_on(
    lane: Path, films: Path, counted: Counted
) -> None:
    (lane / "broken.mp4").write_bytes(b"no film" * 100)
    put(films / "a.mp4", lane / "good.mp4")()
    good, broken = watch(lane, *[nothing] * (2 * PATIENCE))
    assert good.clip.name == "good.mp4" and good.result is not None
    assert broken.clip.name == "broken.mp4" and broken.result is None
    (sentence,) = broken.faults
    assert sentence.startswith("broken.mp4: ")
    changed = watch(
        lane,
        *[nothing] * PATIENCE,
        put(films / "b.mp4", lane / "broken.mp4"),
        *[nothing] * 2,
    )
    assert [outcome.result is not None for outcome in changed] == [False, True]


def test_a_clip_that_fails_alone_costs_no_other(
    lane: Path, films: Path, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = watching.measure_sessions

    def failing(places, *rest):  # type: ignore[no-untyped-def]
        if any(place.name == "a.mp4" for place in places):
            raise InputError("no room on the disk", where="a-results", remedy="make room")
        return whole(places, *rest)

    monkeypatch.setattr(watching, "measure_sessions", failing)
    for name in ("a.mp4", "b.mp4"):
        put(films / name, lane / name)()

    def mended() -> None:
        monkeypatch.setattr(watching, "measure_sessions", whole)
        os.utime(lane / "a.mp4", (1.0, 1.0))

    first, second, again = watch(lane, *[nothing] * 5, mended, *[nothing] * 2)
    assert first.faults == ("a.mp4: a-results: no room on the disk; make room.",)
    assert second.clip.name == "b.mp4" and second.result is not None
    assert again.clip.name == "a.mp4" and again.result is not None


def test_what_the_logbook_does_not_take_now_it_gets_later(
    lane: Path, films: Path, counted: Counted
) -> None:
    book = lane.parent / "book.sqlite3"
    book.mkdir()
    put(films / "a.mp4", lane / "a.mp4")()
    first, second = watch(lane, *[nothing] * 3, book.rmdir, nothing)
    assert first.result is not None and first.entered is None
    assert len(first.faults) == 1 and first.needs_look
    assert second.clip == first.clip and second.entered is not None
    assert second.entered.done is Added.NEW


def test_a_clip_that_was_measured_but_not_logged_is_logged_after_a_restart(
    lane: Path, films: Path, counted: Counted
) -> None:
    put(films / "a.mp4", lane / "a.mp4")()
    once(lane, nothing)
    (lane.parent / "book.sqlite3").unlink()
    (outcome,) = once(lane, nothing)
    assert outcome.result is None
    assert outcome.entered is not None and outcome.entered.done is Added.NEW
    assert counted.taken() == ["a.mp4"]


def test_once_ends_when_all_is_measured(lane: Path, films: Path, counted: Counted) -> None:
    assert once(lane) == [], "nothing is there, so nothing is waited for"
    waiter = Waiter(nothing)
    put(films / "a.mp4", lane / "a.mp4")()
    (outcome,) = once(lane, wait=waiter, every_s=0.25)
    assert outcome.result is not None and waiter.waits == [0.25]


def test_once_names_what_is_unreadable_and_what_still_changes(
    lane: Path, films: Path, counted: Counted
) -> None:
    (lane / "broken.mp4").write_bytes(b"no film" * 100)
    (lane / "growing.mp4").write_bytes(b"x")
    broken, growing = once(lane, lambda: (lane / "growing.mp4").write_bytes(b"xx"))
    assert broken.clip.name == "broken.mp4" and broken.needs_look
    assert growing.faults == ("growing.mp4 is still changing; it was left out.",)


def test_a_folder_that_is_gone_for_a_while_is_named_once(
    lane: Path, films: Path, counted: Counted
) -> None:
    away = lane.with_name("away")
    put(films / "a.mp4", lane / "a.mp4")()
    leave, come = (lambda: lane.rename(away)), (lambda: away.rename(lane))
    gone, back, gone_again = watch(
        lane, leave, nothing, come, *[nothing] * 3, leave, nothing, come, nothing
    )
    assert gone.clip == lane and "cannot be read" in gone.faults[0]
    assert back.clip.name == "a.mp4" and back.result is not None
    assert gone_again == gone


def test_what_is_no_folder_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such folder"):
        next(watched(tmp_path / "nowhere"))
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match="is not a folder"):
        next(watched(tmp_path / "file"))


@pytest.fixture
def with_template(lane: Path) -> Iterator[Path]:
    (lane / "session.toml").write_text(TEMPLATE, encoding="utf-8")
    return lane


def test_markers_of_the_folder_hold_for_every_clip(
    with_template: Path, films: Path, counted: Counted
) -> None:
    lane = with_template
    before = (lane / "session.toml").read_bytes()
    outcomes = watch(
        lane,
        put(films / "a.mp4", lane / "IMG_1.mp4"),
        put(films / "b.mp4", lane / "IMG_2.mp4"),
        *[nothing] * 3,
    )
    assert [outcome.faults for outcome in outcomes] == [(), ()]
    for outcome, name in zip(outcomes, ("IMG_1", "IMG_2"), strict=True):
        assert outcome.result is not None
        assert outcome.result.folder == lane / name / "results"
        session = read_session(lane / name)
        assert session.name == f"Fen Lane, {name}"
        assert session.markers == read_session(lane, filmed=False).markers
        assert [clip.path.resolve() for clip in session.clips] == [(lane / f"{name}.mp4").resolve()]
        assert session.clips[0].setup == "140 mm wheels"
    assert logged(lane) == ["Fen Lane, IMG_2", "Fen Lane, IMG_1"]
    assert (lane / "session.toml").read_bytes() == before
    counted.taken()
    assert watch(lane, *[nothing] * 3) == [] and counted.taken() == []


def test_a_faulty_session_file_ends_the_watch_before_it_begins(with_template: Path) -> None:
    path = with_template / "session.toml"
    path.write_text(TEMPLATE.replace("height_m", "hight_m"), encoding="utf-8")
    with pytest.raises(InputError, match="hight_m"):
        next(watched(with_template))


def test_a_clips_own_session_is_kept_as_the_person_changed_it(
    with_template: Path, films: Path
) -> None:
    clip = with_template / "IMG_1.mp4"
    put(films / "a.mp4", clip)()
    place = own_session(with_template, clip)
    path = place / "session.toml"
    path.write_text(path.read_text("utf-8") + "\n# windy\n", encoding="utf-8")
    assert own_session(with_template, clip) == place
    assert path.read_text("utf-8").endswith("# windy\n")


def test_clips_of_one_name_and_folders_of_others_keep_apart(
    with_template: Path, films: Path
) -> None:
    for name in ("IMG_1.mp4", "IMG_1.mov", "results.mp4"):
        put(films / "a.mp4", with_template / name)()
    (with_template / "results").mkdir()
    (with_template / "results" / "shots.csv").write_text("kept", encoding="utf-8")
    places = [
        own_session(with_template, with_template / name).name
        for name in ("IMG_1.mp4", "IMG_1.mov", "results.mp4", "IMG_1.mov")
    ]
    assert places == ["IMG_1", "IMG_1-mov", "results-mp4", "IMG_1-mov"]
    assert [path.name for path in (with_template / "results").iterdir()] == ["shots.csv"]


def test_a_template_may_name_a_lens_other_clips_and_no_setup(lane: Path, films: Path) -> None:
    lens = Path(__file__).parents[2] / "docs" / "formats.md"
    text = lens.read_text(encoding="utf-8")
    table = text[text.index('device = "phone, main camera"') :]
    (lane / "optics").mkdir()
    (lane / "optics" / "lens.toml").write_text(
        table[: table.index("```")].replace("[1920, 1080]", "[320, 180]"), encoding="utf-8"
    )
    template = TEMPLATE[: TEMPLATE.index("[[setup]]")].replace(
        "[camera]\n", '[camera]\nlens = "optics/lens.toml"\n'
    )
    (lane / "session.toml").write_text("date = 2026-05-17\n" + template, encoding="utf-8")
    clip = lane / "IMG_1.mp4"
    put(films / "a.mp4", clip)()
    place = own_session(lane, clip)
    session = read_session(place)
    assert session.camera.lens == place / "lens.toml" and session.camera.lens.is_file()
    assert [setup.name for setup in session.setups] == ["setup 1"]
    assert str(session.date) == "2026-05-17"


@pytest.mark.parametrize(
    ("stated", "day"), [("", "2026-06-20"), ("date = 2026-05-17\n", "2026-05-17")]
)
def test_a_clips_session_has_the_day_of_its_film_and_the_last_setup(
    lane: Path, stated: str, day: str
) -> None:
    more = '\n[[setup]]\nname = "180 mm wheels"\n'
    (lane / "session.toml").write_text(stated + TEMPLATE + more, encoding="utf-8")
    clip, tags = lane / "IMG_1.mp4", {"creation_time": "2026-06-20T12:00:00"}
    with ClipWriter(clip, (320, 180), 60, tags=tags) as writer:
        for _ in range(4):
            writer.write_bgr(np.full((180, 320, 3), 110, np.uint8))
    session = read_session(own_session(lane, clip))
    assert str(session.date) == day
    assert session.clips[0].setup == "180 mm wheels"


def test_a_look_needs_two_looks_to_settle_and_forgets_what_is_gone(tmp_path: Path) -> None:
    settling, clip = Settling(tmp_path, patience=2), tmp_path / "a.MP4"
    assert settling.look() == [] and settling.open == ()
    clip.write_bytes(b"1")
    assert settling.look() == [] and settling.open == (clip,)
    assert settling.look() == [clip]
    assert not settling.exhausted(clip)
    assert settling.look() == [clip] and settling.exhausted(clip)
    os.utime(clip, ns=(0, 0))
    assert settling.look() == [] and not settling.exhausted(clip), "its time changed"
    assert settling.look() == [clip]
    settling.finish(clip)
    assert settling.look() == [] and settling.open == ()
    clip.unlink()
    settling.look()
    clip.write_bytes(b"1")
    os.utime(clip, ns=(0, 0))
    assert settling.look() == [] and settling.open == (clip,), "a new file of an old name"


def test_empty_files_folders_and_other_names_are_no_clips(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "folder.mp4").mkdir()
    (tmp_path / "notes.txt").write_bytes(b"1")
    settling = Settling(tmp_path)
    settling.look()
    assert settling.look() == [] and settling.open == ()


def test_films_are_known_by_the_results_of_bare_clips_and_of_sessions(tmp_path: Path) -> None:
    for number, place in enumerate(("results", "IMG_1/results", "b-results")):
        (tmp_path / place).mkdir(parents=True)
        (tmp_path / place / "shots.json").write_text(
            f'{{"inputs": [{{"file": "a", "sha256": "{number}"}}], "shots": []}}', encoding="utf-8"
        )
    found = {digest: path.relative_to(tmp_path) for digest, path in films_in(tmp_path).items()}
    assert found == {"0": Path("results"), "1": Path("IMG_1/results"), "2": Path("b-results")}
