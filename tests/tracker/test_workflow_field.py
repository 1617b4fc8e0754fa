"""What picks in a frame give, and how they are written into the session's file."""

import re
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest

from calibration.errors import InputError
from tracker.report.field_scene import _thinned, residual_words
from tracker.session import MarkerEntry, Session, parse_session, read_session, revised
from tracker.workflow import field_edits as edits
from tracker.workflow.field import AGREE, LOOKING, field_answer, suggest
from tracker.workflow.stand import calibrate

ROOT = Path(__file__).parents[2]
WIDE = ROOT / "sample_clips" / "wide"
SIZE = (1920, 1080)


@pytest.fixture(scope="module")
def session() -> Session:
    return read_session(WIDE)


def _with(session: Session, **changed: MarkerEntry):
    """Return the clip with changed markers, by their numbers: ``_2=…``."""
    markers = list(session.markers)
    for number, marker in changed.items():
        markers[int(number[1:])] = marker
    return replace(session.clips[0], markers=tuple(markers))


def _moved(marker: MarkerEntry, columns: float, rows: float) -> MarkerEntry:
    return replace(marker, pixel=(marker.pixel[0] + columns, marker.pixel[1] + rows))


def test_a_residual_is_said_in_pixels_and_on_the_ground() -> None:
    solved = Mock(markers=("a",), residuals_px=[(3.0, 4.0)], ground_residuals_m=[(0.3, -0.4)])
    assert residual_words(solved) == {"a": "5.0 px (50 cm) off"}


def test_agreeing_markers_are_answered_as_the_calibration_has_them(session: Session) -> None:
    clip = session.clips[0]
    solved = calibrate(session, clip, SIZE)
    answer = field_answer(session, clip, SIZE)
    assert answer.landing == f"A{solved.summary[1:]}."
    assert answer.weakest == f"T{solved.weakest.text[1:]}."
    assert (answer.faults, answer.suspects, answer.check) == ((), (), AGREE)
    assert answer.residuals["20 m cone"] == "0.3 px (1 cm) off"
    assert list(answer.expected) == [one.name for one in session.markers]
    for place, one in enumerate(session.markers):
        seen = solved.camera.project([one.ground_m])[0]
        assert answer.expected[one.name] == pytest.approx(tuple(seen), abs=0.006)
        assert solved.residuals_px[place] == pytest.approx(one.pixel - seen, abs=1e-9)


def test_the_scene_holds_the_ground_as_the_frame_shows_it(session: Session) -> None:
    answer = field_answer(session, session.clips[0], SIZE)
    scene = answer.scene
    assert [label.text for label in scene.labels] == [f"{5 * i} m" for i in range(9)]
    assert [arrow.name for arrow in scene.arrows] == [one.name for one in session.markers]
    lines = [_points(line) for line in scene.firing_line.split("M")[1:]]
    assert len(lines) == 1
    # The line begins and ends where the camera sees its first and last marker.
    camera = answer.calibration.camera
    ends = camera.project([(0.0, 0.0, 0.0), (40.0, 0.0, 0.0)])
    assert lines[0][0] == pytest.approx(tuple(ends[0]), abs=0.06)
    assert lines[0][-1] == pytest.approx(tuple(ends[1]), abs=0.06)
    for path in (scene.grid, scene.firing_line, scene.ticks):
        for x, y in _points(path.replace("M", "L")[1:]):
            assert -0.6 < x < 1919.6 and -0.6 < y < 1079.6
    for arrow, one in zip(scene.arrows, session.markers, strict=True):
        start, end = _points(arrow.path[1:])
        off = (one.pixel[i] - answer.expected[one.name][i] for i in (0, 1))
        wanted = [one.pixel[i] + scene.scale * each for i, each in enumerate(off)]
        assert start == pytest.approx(one.pixel, abs=0.06)
        assert end == pytest.approx(wanted, abs=0.06 + 0.006 * scene.scale)


def test_a_thinned_line_keeps_both_its_ends() -> None:
    line = np.column_stack([np.arange(20.0), np.zeros(20)])
    assert _thinned(line)[:, 0].tolist() == [0.0, 8.0, 16.0, 19.0]
    assert _thinned(line[:2])[:, 0].tolist() == [0.0, 1.0]


def _points(path: str) -> list[tuple[float, float]]:
    pairs = [pair.split() for pair in path.split("L")]
    return [(float(x), float(y)) for x, y in pairs]


def test_a_quick_answer_does_not_search_and_the_search_names_the_marker(session: Session) -> None:
    clip = _with(session, _2=_moved(session.markers[2], 40.0, 25.0))
    quick = field_answer(session, clip, SIZE, searched=False)
    assert (quick.faults, quick.suspects, quick.check) == ((LOOKING,), (), "")
    assert len(quick.calibration.markers) == 5
    whole = field_answer(session, clip, SIZE)
    assert whole.suspects == ("20 m cone",)
    assert "its label, its coordinates or its pixel is wrong" in whole.faults[0]
    assert whole.faults[1] == "The camera is calibrated without “20 m cone”."
    assert set(whole.residuals) == {one.name for one in session.markers} - {"20 m cone"}
    assert "20 m cone" in whole.expected
    assert (quick.searched, whole.searched) == (False, True)


def test_swapped_ends_that_nothing_fits_are_named(session: Session) -> None:
    first, last = session.markers[0], session.markers[4]
    swapped = _with(
        session, _0=replace(first, pixel=last.pixel), _4=replace(last, pixel=first.pixel)
    )
    answer = field_answer(session, swapped, SIZE)
    assert answer.suspects == ("foot of the launcher", "40 m cone")
    assert answer.faults[0].startswith('Markers "foot of the launcher" and "40 m cone" are swapped')
    assert (answer.calibration, answer.scene, answer.landing) == (None, None, "")
    # Where the taped camera should see them is still shown.
    assert len(answer.expected) == 5


def test_what_is_missing_is_said_and_the_expected_places_shown(session: Session) -> None:
    unpicked = tuple(replace(one, pixel=None) for one in session.markers)
    clip = replace(session.clips[0], markers=unpicked)
    answer = field_answer(session, clip, SIZE)
    assert answer.faults == (
        "No marker has a pixel, and 2 are needed; pick the others, the farther apart the better, "
        "or take them out, and gravity is the scale.",
    )
    assert answer.expected["20 m cone"] == pytest.approx((960.0, 620.0), abs=160.0)
    unknown = replace(session, camera=replace(session.camera, position_m=None))
    assert field_answer(unknown, clip, SIZE).expected == {}


def test_a_pixel_outside_the_frame_is_said_of_its_marker(session: Session) -> None:
    clip = _with(session, _1=replace(session.markers[1], pixel=(2500.0, 10.0)))
    answer = field_answer(session, clip, SIZE)
    assert answer.suspects == ("10 m cone",)
    assert answer.faults[0].startswith('Marker "10 m cone"')
    assert "lies outside the frame of 1920 x 1080" in answer.faults[0]


def test_what_nothing_checks_is_said(session: Session) -> None:
    two = replace(session.clips[0], markers=session.markers[:2])
    free = replace(session, camera=replace(session.camera, level=False, field_of_view_deg=None))
    words = field_answer(free, two, SIZE)
    assert words.check != AGREE or words.calibration.dof > 0


@pytest.mark.campaign
def test_suggestions_lie_where_the_markers_are(session: Session) -> None:
    markers = (*session.markers[:3], *(replace(one, pixel=None) for one in session.markers[3:]))
    found = suggest(session, replace(session.clips[0], markers=markers), 0)
    assert [one.name for one in found] == [one.name for one in session.markers]
    for one, true in zip(found, session.markers, strict=True):
        assert one.pixel == pytest.approx(true.pixel, abs=5.0)
        assert one.pixel == tuple(round(value, 1) for value in one.pixel)
        assert (0.3 < one.pixel_u < 1.0, one.doubt) == (True, "")


TEXT = """\
name = "Fen Lane"

[release]
height_m = 0.8

[[marker]]
name = "a"
ground_m = [0.0, 0.0, 0.0]   # by the wheel
pixel = [10.0, 20.0]

[[marker]]
name = "b"
ground_m = [10.0, 0.0, 0.0]

[[setup]]
name = "s"

[[clip]]
file = "one.mp4"
setup = "s"

[[clip]]
file = "two.mp4"
setup = "s"

[[clip.marker]]
name = "b"
pixel = [30.0, 40.0]
"""


@pytest.fixture
def written(tmp_path: Path) -> Session:
    return parse_session(TEXT, tmp_path, filmed=False)


def _after(session: Session, changes: list[edits.FieldChange]) -> Session:
    return parse_session(revised(TEXT, changes), session.folder, filmed=False)


def test_a_pick_keeps_tenths_and_how_it_was_picked(written: Session) -> None:
    made = _after(written, edits.pick(written, written.clips[0], "b", (7.04, 8.06), 0.3))
    assert made.markers[1].pixel == (7.0, 8.1)
    assert made.markers[1].pixel_u == 0.3
    assert made.markers[0] == written.markers[0]
    again = edits.pick(written, written.clips[0], "a", (1.0, 2.0))
    text = revised(TEXT, again)
    assert "pixel = [1.0, 2.0]" in text and "pixel_u" not in text and "# by the wheel" in text


def test_a_clip_with_markers_of_its_own_is_picked_in_its_own(written: Session) -> None:
    made = _after(written, edits.pick(written, written.clips[1], "b", (1.0, 2.0)))
    assert made.clips[1].markers[0].pixel == (1.0, 2.0)
    assert made.markers == written.markers
    assert edits.list_of(written, written.clips[1]) == ("clip", 1, "marker")
    assert edits.list_of(written, written.clips[0]) == ("marker",)
    # Picks that are not saved yet change nothing in that.
    moved = replace(written.clips[0], markers=written.markers[:1])
    assert edits.list_of(written, moved) == ("marker",)


def test_a_clip_gets_picks_of_its_own_and_the_shared_ones_again(written: Session) -> None:
    first, second = written.clips
    made = _after(written, edits.apart(written, first))
    assert [(one.name, one.ground_m, one.pixel) for one in made.clips[0].markers] == [
        ("a", (0.0, 0.0, 0.0), None),
        ("b", (10.0, 0.0, 0.0), None),
    ]
    assert (made.markers, made.clips[1]) == (written.markers, second)
    assert edits.list_of(made, made.clips[0]) == ("clip", 0, "marker")
    coarse = replace(written, markers=(replace(written.markers[0], u_m=0.05), written.markers[1]))
    made = _after(written, edits.apart(coarse, first))
    assert [one.u_m for one in made.clips[0].markers] == [0.05, written.markers[1].u_m]
    back = _after(written, edits.rejoin(written, second))
    assert back.clips[1].markers == back.markers == written.markers
    assert back.clips[0] == first


def test_a_clip_gives_its_picks_to_others(written: Session) -> None:
    first, second = written.clips
    marker = MarkerEntry("b", (10.0, 0.0, 0.0), 0.05, (7.0, 8.0), 0.3)
    made = _after(written, edits.given(written, replace(second, markers=(marker,)), [first.file]))
    (taken,) = made.clips[0].markers
    assert replace(taken, where="") == marker
    assert (made.markers, made.clips[1]) == (written.markers, second)


def test_markers_are_unpicked_renamed_retaped_added_and_removed(written: Session) -> None:
    clip = written.clips[0]
    assert _after(written, edits.unpick(written, clip, "a")).markers[0].pixel is None
    assert _after(written, edits.rename(written, clip, "a", "c")).markers[0].name == "c"
    taped = _after(written, edits.retape(written, clip, "b", (1.5, -2.0, 0.25)))
    assert taped.markers[1].ground_m == (1.5, -2.0, 0.25)
    more = _after(written, edits.add(written, clip, edits.next_to(clip.markers)))
    assert (more.markers[2].name, more.markers[2].ground_m) == ("20 m", (20.0, 0.0, 0.0))
    fewer = _after(written, edits.remove(written, clip, "a"))
    assert [one.name for one in fewer.markers] == ["b"]


def test_the_next_marker_fills_the_first_gap_and_takes_a_free_name() -> None:
    assert edits.next_to([]).ground_m == (0.0, 0.0, 0.0)
    placed = [MarkerEntry("0 m", (0.3, 0.0, 0.0)), MarkerEntry("20 m", (10.0, 0.0, 0.0))]
    assert edits.next_to(placed).ground_m == (20.0, 0.0, 0.0)
    assert edits.next_to(placed).name == "20 m (2)"
    gap = [MarkerEntry("0", (0.0, 0.0, 0.0)), MarkerEntry("20", (20.0, 0.0, 0.0))]
    assert edits.next_to(gap).name == "10 m"


def test_suggesting_without_a_taped_position_is_refused_in_a_sentence(session: Session) -> None:
    unknown = replace(session, camera=replace(session.camera, position_m=None))
    unpicked = tuple(replace(one, pixel=None) for one in session.markers)
    with pytest.raises(InputError) as caught:
        suggest(unknown, replace(session.clips[0], markers=unpicked), 0)
    assert re.search("no marker has a pixel", str(caught.value))


def test_a_marker_that_is_called_by_its_place_is_called_by_its_new_one(written: Session) -> None:
    clip = written.clips[0]
    markers = [
        MarkerEntry("10 m", (10.0, 0.0, 0.0)),
        MarkerEntry("2 m", (2.0, 1.0, 0.0)),
        MarkerEntry("10 m (2)", (10.0, 3.0, 0.0)),
        MarkerEntry("10 m cone", (10.0, 5.0, 0.0)),
        MarkerEntry("20 m", (25.0, 0.0, 0.0)),
    ]
    assert edits.renamed(markers, "20 m", 30.0) == "20 m"
    assert edits.renamed(markers, "10 m", 4.0) == "4 m"
    assert edits.renamed(markers, "10 m (2)", 2.0001) == "2 m (2)"
    assert edits.renamed(markers, "2 m", 1.449) == "1.4 m"
    for kept, along_m in (("10 m cone", 4.0), ("10 m", 10.49), ("10 m (2)", 9.51)):
        assert edits.renamed(markers, kept, along_m) == kept
    more = _after(written, edits.add(written, clip, edits.next_to(clip.markers)))
    (added,) = [one for one in more.markers if one.name not in {m.name for m in clip.markers}]
    anew = _after(more, edits.retape(more, more.clips[0], added.name, (2.2, 0.0, 0.0)))
    assert anew.markers[-1].name == "2.2 m" and anew.markers[-1].ground_m == (2.2, 0.0, 0.0)
