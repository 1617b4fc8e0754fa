"""Which clip shows which setup, as changes of the file."""

from pathlib import Path

import pytest

from tracker.session import Session, parse_session
from tracker.session.revising import revised
from tracker.workflow.setup_edits import alike_below, by_file_names, shown

TEXT = """[release]
height_m = 0.8
[[setup]]
name = "setup 1"
[[setup]]
name = "140 mm"
[setup.wheel]
diameter_mm = 140.0
[[clip]]
file = "clips/Gruppe 1 – Rad 100 mm.MOV"
setup = "setup 1"
[[clip]]
file = "clips/b.mp4"
setup = "setup 1"
[[clip]]
file = "clips/c.mp4"
setup = "140 mm"
"""


@pytest.fixture
def session(tmp_path: Path) -> Session:
    (tmp_path / "clips").mkdir()
    for name in ("Gruppe 1 – Rad 100 mm.MOV", "b.mp4", "c.mp4"):
        (tmp_path / "clips" / name).write_bytes(b"not read here")
    return parse_session(TEXT, tmp_path)


def after(session: Session, wanted: dict[str, str]) -> tuple[list[str], list[str]]:
    made = parse_session(revised(TEXT, shown(session, wanted)), session.folder)
    assert all(one.parts.keys() == {"wheel"} for one in made.setups if "140" in one.name)
    return [one.name for one in made.setups], [clip.setup for clip in made.clips]


def test_every_clip_gets_a_setup_that_is_called_as_its_file(session: Session) -> None:
    setups, clips = after(session, by_file_names(session))
    assert clips == ["Gruppe 1 – Rad 100 mm", "b", "c"]
    # The launcher that was described keeps its description; the empty one is gone.
    assert sorted(setups) == sorted(clips)


@pytest.mark.parametrize(
    ("wanted", "setups", "clips"),
    [
        ({}, ["setup 1", "140 mm"], ["setup 1", "setup 1", "140 mm"]),
        ({"clips/b.mp4": "new"}, ["setup 1", "140 mm", "new"], ["setup 1", "new", "140 mm"]),
        ({"clips/b.mp4": "140 mm"}, ["setup 1", "140 mm"], ["setup 1", "140 mm", "140 mm"]),
        (
            {"clips/c.mp4": "140 mm, wet"},
            ["setup 1", "140 mm, wet"],
            ["setup 1"] * 2 + ["140 mm, wet"],
        ),
        ({"clips/c.mp4": "setup 1"}, ["setup 1", "140 mm"], ["setup 1"] * 3),
    ],
)
def test_one_clip_shows_another_setup(
    session: Session, wanted: dict[str, str], setups: list[str], clips: list[str]
) -> None:
    assert after(session, wanted) == (setups, clips)


def test_an_empty_setup_that_no_clip_shows_any_more_goes(session: Session) -> None:
    both = dict.fromkeys(["clips/Gruppe 1 – Rad 100 mm.MOV", "clips/b.mp4"], "140 mm")
    assert after(session, both) == (["140 mm"], ["140 mm"] * 3)


def test_clips_below_are_those_that_show_the_same_until_one_does_not(session: Session) -> None:
    first, second, third = (clip.file for clip in session.clips)
    assert alike_below(session, first) == (second,)
    assert alike_below(session, second) == alike_below(session, third) == ()
