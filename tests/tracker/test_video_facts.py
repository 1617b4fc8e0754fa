"""What a file says of itself: turning, pace, shape, range, and what is no video at all."""

from fractions import Fraction

import av
import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.barcode_clips import (
    FOOTAGE,
    HEIGHT,
    WIDTH,
    coded,
    coded_turned,
    number_of,
    write,
)
from tracker.video import ClipWriter, frames, inspect, picture
from tracker.video.facts import pace_of, usual_rate


@pytest.mark.parametrize("rotation", [0, 90, 180, 270])
def test_rotation_flag_brings_the_picture_upright(rotation, tmp_path):
    path = tmp_path / "a.mp4"
    stored = coded_turned(0, rotation).shape[1::-1]
    with ClipWriter(path, stored, 30, rotation_deg=rotation) as clip:
        for number in range(12):
            clip.write_luma_chroma(coded_turned(number, rotation))
    facts = inspect(path)
    assert facts.rotation_deg == rotation
    assert facts.size_px == (WIDTH, HEIGHT)
    assert facts.stored_size_px == stored
    for frame in frames(facts):
        assert frame.luma.shape == (HEIGHT, WIDTH)
        assert number_of(frame.luma) == frame.index
        assert np.abs(frame.luma.astype(int) - coded(frame.index)).max() < 40
    assert number_of(picture(facts, 7)[:, :, 1]) == 7


def test_the_turn_is_the_numpy_one(tmp_path):
    # numpy.rot90 turns counter-clockwise, as `rotation_deg` is defined.
    path = tmp_path / "a.mp4"
    stored = np.full((64, 96), 60, np.uint8)
    stored[:20, :30] = 220
    with ClipWriter(path, (96, 64), 30, rotation_deg=90) as clip:
        for _ in range(3):
            clip.write_luma_chroma(stored)
    shown = next(iter(frames(inspect(path)))).luma
    assert np.abs(shown.astype(int) - np.rot90(stored)).mean() < 2.0


def test_luma_may_not_be_written_into(tmp_path):
    for frame in frames(inspect(write(tmp_path / "a.mp4", range(3)))):
        with pytest.raises(ValueError, match="read-only"):
            frame.luma[0, 0] = 1


def test_luma_held_on_to_stays_what_it_was(tmp_path):
    held = list(frames(inspect(write(tmp_path / "a.mp4", range(50)))))
    assert [number_of(frame.luma) for frame in held] == list(range(50))


@pytest.mark.parametrize("pix_fmt", ["yuv420p", "yuv444p", "nv12", "yuv422p"])
def test_luma_is_the_stored_one_in_every_layout(pix_fmt, tmp_path):
    path = write(tmp_path / "a.mp4", range(4), pix_fmt=pix_fmt, crf=1)
    for frame in frames(inspect(path)):
        assert np.abs(frame.luma.astype(int) - coded(frame.index)).max() <= 2


def test_ten_bits_come_as_eight(tmp_path):
    path = write(tmp_path / "a.mp4", range(4), codec="libx265", pix_fmt="yuv420p10le", crf=1)
    facts = inspect(path)
    assert facts.codec == "hevc"
    for frame in frames(facts):
        assert frame.luma.dtype == np.uint8
        assert np.abs(frame.luma.astype(int) - coded(frame.index)).max() <= 2


def test_colour_only_layouts_give_grey(tmp_path):
    path = tmp_path / "a.mkv"
    with ClipWriter(path, (WIDTH, HEIGHT), 30, codec="ffv1", pix_fmt="bgr0", preset="") as clip:
        for number in range(3):
            clip.write_bgr(np.repeat(coded(number)[:, :, None], 3, axis=2))
    for frame in frames(inspect(path)):
        assert np.abs(frame.luma.astype(int) - coded(frame.index)).max() <= 1


def test_full_range_is_left_alone(tmp_path):
    wide = tmp_path / "a.avi"
    with ClipWriter(wide, (64, 64), 30, codec="mjpeg", pix_fmt="yuvj420p", preset="") as clip:
        for _ in range(3):
            clip.write_luma_chroma(np.full((64, 64), 250, np.uint8))
    assert {int(np.median(frame.luma)) for frame in frames(inspect(wide))} == {250}


@pytest.mark.parametrize(
    ("aspect", "shown"), [(Fraction(4, 3), (213, 96)), (Fraction(1, 2), (160, 192))]
)
def test_pixels_that_are_not_square_are_stretched(aspect, shown, tmp_path):
    facts = inspect(write(tmp_path / "a.mp4", range(10), pixel_aspect=aspect))
    assert facts.size_px == shown
    for frame in frames(facts):
        assert frame.luma.shape == shown[::-1]
        assert number_of(frame.luma) == frame.index
        assert not frame.luma.flags.writeable
    assert picture(facts, 3).shape == (*shown[::-1], 3)
    assert any("stretched" in note for note in facts.notes)


def test_slow_motion_is_known_from_the_file(tmp_path):
    tags = {"com.android.capture.fps": "240.000000"}
    facts = inspect(write(tmp_path / "a.mp4", range(60), fps=240, file_fps=30, tags=tags))
    assert facts.capture_fps == 240.0
    assert facts.pace == 8.0
    assert facts.file_times_s == pytest.approx(np.arange(60) / 30)
    assert facts.times_s == pytest.approx(np.arange(60) / 240)
    assert [frame.time_s for frame in frames(facts)] == pytest.approx(np.arange(60) / 240)
    assert any("8 times slower than life" in note for note in facts.notes)


def test_the_session_overrides_the_tag(tmp_path):
    tags = {"com.android.capture.fps": "240.0"}
    path = write(tmp_path / "a.mp4", range(60), fps=120, file_fps=30, tags=tags)
    facts = inspect(path, capture_fps=120.0)
    assert (facts.capture_fps, facts.pace) == (120.0, pytest.approx(4.0))
    assert facts.times_s == pytest.approx(np.arange(60) / 120)


def test_slow_motion_without_a_tag_plays_at_life_speed_unless_stated(tmp_path):
    path = write(tmp_path / "a.mp4", range(30), fps=240, file_fps=30)
    assert inspect(path).pace == 1.0
    assert inspect(path, capture_fps=240.0).pace == pytest.approx(8.0)


@pytest.mark.parametrize("rate", [0.0, -30.0, float("nan"), float("inf")])
def test_an_impossible_capture_rate_is_refused(rate, tmp_path):
    with pytest.raises(InputError, match="capture_fps"):
        inspect(write(tmp_path / "a.mp4", range(3)), capture_fps=rate)


@pytest.mark.parametrize(
    ("file_fps", "session", "tag", "pace"),
    [
        (30.0, None, None, 1.0),
        (240.0, None, 240.0, 1.0),
        (59.94, None, 60.0, 1.0),
        (24.1, None, 30.0, 1.0),  # poor light: asked for 30, took 24
        (30.0, None, 240.0, 8.0),
        (29.97, None, 240.0, 8.0),
        (30.02, None, 120.0, 4.0),
        (30.0, None, 100.0, 100.0 / 30.0),
        (30.0, None, 10.0, 1.0 / 3.0),  # lapse: plays faster than life
        (239.7, 240.0, None, 1.0),
        (25.0, 240.0, None, 9.6),
        (30.0, 30.0, 240.0, 1.0),
    ],
)
def test_pace_rules(file_fps, session, tag, pace):
    reported, found, words = pace_of(file_fps, session, tag)
    assert found == pytest.approx(pace, rel=1e-12)
    assert reported == (session if session is not None else tag)
    assert bool(words) == (pace != 1.0 or file_fps == 24.1)


def test_usual_rate_is_not_misled_by_coarse_ticks_or_gaps():
    times = np.round(np.arange(300) / 29.97, 3)
    assert usual_rate(times) == pytest.approx(29.97, rel=2e-4)
    with_gap = np.concatenate([times[:100], times[100:] + 3.0])
    assert usual_rate(with_gap) == pytest.approx(29.97, rel=2e-4)


def refused(path):
    with pytest.raises(InputError) as caught:
        inspect(path)
    (sentence,) = caught.value.sentences()
    assert path.name in sentence
    assert "Traceback" not in sentence
    assert sentence.endswith(".")
    return sentence


def test_what_is_no_video_is_refused_in_a_sentence(tmp_path):
    assert "no such file" in refused(tmp_path / "nothing.mp4")
    assert "folder" in refused(tmp_path)
    empty = tmp_path / "empty.mp4"
    empty.touch()
    assert "empty" in refused(empty)
    text = tmp_path / "notes.txt"
    text.write_text("clips of the second session\n" * 100, encoding="utf-8")
    assert "text" in refused(text)
    noise = tmp_path / "noise.mp4"
    noise.write_bytes(np.random.default_rng(0).bytes(5000))
    assert "not a video" in refused(noise)


def test_a_still_picture_is_refused(tmp_path):
    import cv2

    still = tmp_path / "still.png"
    cv2.imwrite(str(still), coded(3))
    assert "still picture" in refused(still)
    assert "one frame" in refused(write(tmp_path / "single.mp4", [0]))


def test_sound_alone_is_refused(tmp_path):
    path = tmp_path / "sound.mov"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=8000, layout="mono")
        sound = av.AudioFrame.from_ndarray(np.zeros((1, 800), np.int16), "s16", "mono")
        sound.sample_rate = 8000
        for packet in [*stream.encode(sound), *stream.encode(None)]:
            container.mux(packet)
    assert "no video track" in refused(path)


def test_there_is_no_such_picture(tmp_path):
    facts = inspect(write(tmp_path / "a.mp4", range(10)))
    for index in (-1, 10):
        with pytest.raises(InputError, match="no frame") as caught:
            picture(facts, index)
        assert "0 to 9" in str(caught.value)


FOOTAGE_FACTS = {
    # name: size as shown, turn, frames, rate, pace (the footage's own description)
    "phone_slow_motion_240.mp4": ((320, 240), 0, 63, 30.0, 8.0),
    "phone_portrait_4k60.mp4": ((2160, 3840), 270, 18, 60.06, 1.0),
    "phone_rotated_90.mov": ((320, 568), 270, 3, 30.0, 1.0),
    "phone_hevc_hdr_rotated.mov": ((720, 1280), 270, 4, 30.0, 1.0),
    "rotation_in_track_name.mkv": ((1080, 720), 0, 30, 29.97, 1.0),
    "fragmented.mp4": ((1080, 720), 0, 30, 29.97, 1.0),
    "cut_off_copy.mp4": ((1080, 720), 0, 30, 29.97, 1.0),
    "people_on_lawn_10fps.avi": ((768, 576), 0, 795, 10.0, 1.0),
}


@pytest.mark.skipif(not FOOTAGE.is_dir(), reason="footage is not here")
@pytest.mark.parametrize("name", FOOTAGE_FACTS)
def test_footage_facts(name):
    size, turn, count, rate, pace = FOOTAGE_FACTS[name]
    facts = inspect(FOOTAGE / name)
    assert (facts.size_px, facts.rotation_deg, facts.frame_count) == (size, turn, count)
    assert facts.file_fps == pytest.approx(rate, rel=1e-3)
    assert facts.pace == pace
    assert facts.file_times_s[0] == 0.0
    seen = list(frames(facts))
    assert [frame.index for frame in seen] == list(range(count))
    assert not any(frame.suspect for frame in seen)


@pytest.mark.skipif(not FOOTAGE.is_dir(), reason="footage is not here")
def test_footage_notes():
    def notes(name):
        return " ".join(inspect(FOOTAGE / name).notes)

    assert "tag says that frames were taken at 240" in notes("phone_slow_motion_240.mp4")
    assert "rotA-090" in notes("rotation_in_track_name.mkv")
    assert "cut off" in notes("cut_off_copy.mp4")
    assert "HLG" in notes("phone_hevc_hdr_rotated.mov")
    assert "counts 444 frames, but 68" in notes("swaying_tree_lying_header.avi")
    assert notes("V_DRONE_002.mp4") == ""
    with pytest.raises(InputError, match="not a video"):
        inspect(FOOTAGE / "measured_throws_300hz.tsv")
