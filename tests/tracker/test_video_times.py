"""Every frame comes with its own number and its own time, in every layout of a file."""

from fractions import Fraction

import cv2
import numpy as np
import pytest

from tests.tracker.barcode_clips import FOOTAGE, number_of, write
from tracker.video import frames, inspect, picture, pictures

UNEVEN = np.cumsum(np.random.default_rng(5).uniform(0.011, 0.04, 60))

LAYOUTS = {
    "plain": ("a.mp4", {"options": {"bf": "0", "g": "15"}}),
    "frames out of order": ("a.mp4", {"options": {"bf": "3", "g": "15", "b-adapt": "0"}}),
    "open groups": ("a.mp4", {"options": {"bf": "3", "x264-params": "open-gop=1:keyint=15"}}),
    "one key frame": ("a.mov", {"options": {"bf": "2"}}),
    "matroska": ("a.mkv", {"options": {"bf": "2", "g": "15"}}),
    "transport stream": ("a.ts", {"options": {"bf": "2", "g": "15"}}),
    "avi out of order": ("a.avi", {"options": {"bf": "3", "g": "15"}}),
    "avi of stills": ("a.avi", {"codec": "mjpeg", "pix_fmt": "yuvj420p", "preset": ""}),
    "ten bits": ("a.mp4", {"codec": "libx265", "pix_fmt": "yuv420p10le"}),
    "fragments": (
        "a.mp4",
        {"options": {"g": "15"}, "container_options": {"movflags": "frag_keyframe+empty_moov"}},
    ),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_frames_are_numbered_and_timed_exactly(layout, tmp_path):
    name, style = LAYOUTS[layout]
    facts = inspect(write(tmp_path / name, range(60), **style))
    assert facts.frame_count == 60
    lost = []
    seen = [
        (frame.index, number_of(frame.luma), frame.time_s)
        for frame in frames(facts, on_note=lost.append)
    ]
    assert lost == []
    assert [index for index, _, _ in seen] == list(range(60))
    assert [number for _, number, _ in seen] == list(range(60))
    # Matroska rounds times to whole milliseconds (RFC 9559, 11.1).
    tolerance = 0.0005 if name.endswith("mkv") else 1e-5
    assert [t for _, _, t in seen] == pytest.approx(np.arange(60) / 30, abs=tolerance)
    assert facts.file_fps == pytest.approx(30.0, rel=1e-3)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_picture_is_the_one_asked_for(layout, tmp_path):
    name, style = LAYOUTS[layout]
    facts = inspect(write(tmp_path / name, range(60), **style))
    asked = [0, 1, 13, 14, 15, 16, 29, 30, 44, 59]
    for index in asked:
        assert number_of(picture(facts, index)[:, :, 1]) == index
    found = pictures(facts, reversed(asked))
    assert {index: number_of(image[:, :, 1]) for index, image in found.items()} == {
        index: index for index in asked
    }


@pytest.mark.parametrize("bf", ["0", "3"])
def test_uneven_times_are_kept(bf, tmp_path):
    facts = inspect(write(tmp_path / "a.mp4", range(60), times_s=UNEVEN, options={"bf": bf}))
    # The finest tick is 1/90000 s.
    assert facts.times_s == pytest.approx(UNEVEN - UNEVEN[0], abs=1.2e-5)
    assert [number_of(f.luma) for f in frames(facts)] == list(range(60))
    assert [f.time_s for f in frames(facts)] == pytest.approx(facts.times_s)
    assert any("do not come evenly" in note for note in facts.notes)
    assert number_of(picture(facts, 37)[:, :, 1]) == 37


def test_a_broadcast_rate_is_exact(tmp_path):
    facts = inspect(write(tmp_path / "a.mp4", range(60), fps=Fraction(60000, 1001)))
    assert facts.file_fps == pytest.approx(60000 / 1001, rel=1e-9)
    assert facts.times_s == pytest.approx(np.arange(60) * 1001 / 60000, abs=1e-9)
    assert facts.duration_s == pytest.approx(1.001)
    assert facts.notes == ()


def independent_times(path):
    """Times as OpenCV's own reader gives them after each frame, less the first."""
    reader = cv2.VideoCapture(str(path))
    times = []
    while reader.grab():
        times.append(reader.get(cv2.CAP_PROP_POS_MSEC) / 1000.0)
    return np.array(times) - times[0]


@pytest.mark.parametrize("bf", ["0", "3"])
@pytest.mark.parametrize("times", [None, UNEVEN])
def test_times_agree_with_another_reader(bf, times, tmp_path):
    path = write(tmp_path / "a.mp4", range(60), times_s=times, options={"bf": bf})
    assert inspect(path).times_s == pytest.approx(independent_times(path), abs=1e-6)


FILMS = [
    # Film of high resolution takes seconds to read twice.
    pytest.param(path.name, marks=pytest.mark.campaign if path.name.startswith("phone_") else ())
    for path in sorted(FOOTAGE.glob("*.*"))
    if path.suffix in (".mp4", ".mov", ".mkv", ".avi")
]


@pytest.mark.skipif(not FILMS, reason="footage is not here")
@pytest.mark.parametrize("name", FILMS)
def test_footage_times_agree_with_another_reader(name):
    facts = inspect(FOOTAGE / name)
    independent = independent_times(FOOTAGE / name)
    ours = facts.file_times_s - facts.file_times_s[0]
    if name.startswith("corrupted"):
        independent, ours = independent[:28], ours[:28]
    assert len(independent) == len(ours)
    assert ours == pytest.approx(independent, abs=2e-6)


@pytest.mark.skipif(not FILMS, reason="footage is not here")
@pytest.mark.parametrize("name", FILMS)
def test_footage_is_shown_as_another_reader_shows_it(name):
    facts = inspect(FOOTAGE / name)
    reader = cv2.VideoCapture(str(FOOTAGE / name))
    number, expected = -1, np.zeros(1)
    while number < 2 or expected.std() < 1.0:  # a film may begin with a blank picture
        assert reader.grab()
        _, expected = reader.retrieve()
        number += 1
    ours = picture(facts, number)
    # The other reader shows pixels that are not square as they are stored.
    expected = cv2.resize(expected, facts.size_px)
    assert ours.shape == expected.shape
    # The two convert colours differently (by far for high dynamic range), hence a correlation.
    assert np.corrcoef(ours.ravel(), expected.ravel())[0, 1] > 0.95


@pytest.mark.parametrize(
    "span",
    [
        (17, 31),
        *(pytest.param(each, marks=pytest.mark.campaign) for each in ((0, 5), (44, 59), (30, 30))),
    ],
)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_run_of_frames_comes_with_the_first_one_only(layout, span, tmp_path):
    name, style = LAYOUTS[layout]
    facts = inspect(write(tmp_path / name, range(60), fps=30, **style))
    seen = [(frame.index, number_of(frame.luma)) for frame in frames(facts, span=span)]
    first, last = span
    assert seen == [(index, index) for index in sorted({0, *range(first, last + 1)})]
