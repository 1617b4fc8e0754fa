"""Files that are no film, or claim what no film has: one sentence, and nothing else is read."""

import os
import sys

import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.barcode_clips import number_of, write
from tracker.video import ClipWriter, frames, inspect


def refused(path) -> str:
    with pytest.raises(InputError) as caught:
        inspect(path)
    sentences = caught.value.sentences()
    assert len(sentences) == 1
    assert str(path) in sentences[0]
    return sentences[0]


@pytest.fixture
def clip(tmp_path):
    return write(tmp_path / "film.mp4", range(20))


LISTS = {
    "concat": "ffconcat version 1.0\nfile film.mp4\n",
    "playlist": "#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nfilm.mp4\n#EXT-X-ENDLIST\n",
    "manifest": "<?xml version='1.0'?><MPD xmlns='urn:mpeg:dash:schema:mpd:2011'></MPD>\n",
    "session": "v=0\no=- 0 0 IN IP4 127.0.0.1\nm=video 5004 RTP/AVP 96\n",
}


@pytest.mark.parametrize("kind", LISTS)
@pytest.mark.parametrize("name", ["list.mp4", "list.txt", "list.m3u8"])
def test_a_list_of_other_files_is_a_text(kind, name, clip):
    path = clip.parent / name
    path.write_text(LISTS[kind], encoding="utf-8")
    assert "this is a text, not a video" in refused(path)


def test_a_name_that_looks_like_an_address_is_a_file(clip, monkeypatch):
    monkeypatch.chdir(clip.parent)
    for name in ("concat:film.mp4", "subfile,,start,0,end,9,,:film.mp4", "data:,film"):
        assert "no such file" in refused(name)
    if os.name == "posix":
        odd = clip.rename(clip.parent / "data:,film.mp4")
        assert inspect(odd.name).frame_count == 20


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xd8\xff\xe0" + bytes(900), "a still picture"),
        (b"GIF89a" + bytes(900), "a still picture"),
        ("Grüße vom Feld\n".encode() * 80, "a text"),
        (b"short note", "a text"),
    ],
)
def test_what_is_no_film_is_named(head, kind, tmp_path):
    path = tmp_path / "clip.mov"
    path.write_bytes(head)
    assert f"this is {kind}, not a video" in refused(path)


def test_kinds_of_files_that_are_not_read_name_those_that_are(tmp_path):
    raw = write(tmp_path / "bare.h264", range(30))
    assert "this kind of file is not read; give an MP4" in refused(raw)


@pytest.mark.parametrize("size", [(14, 96), (160, 14), (8, 8)])
def test_frames_too_small_to_measure_in_are_refused(size, tmp_path):
    path = tmp_path / "small.mp4"
    with ClipWriter(path, size, 30) as writer:
        for _ in range(5):
            writer.write_bgr(np.zeros((size[1], size[0], 3), np.uint8))
    assert f"the frames have {size[0]} x {size[1]} pixels; give a clip of 16" in refused(path)


def test_the_smallest_frames_are_read(tmp_path):
    path = tmp_path / "small.mp4"
    with ClipWriter(path, (16, 16), 30) as writer:
        for level in range(5):
            writer.write_bgr(np.full((16, 16, 3), 40 * level, np.uint8))
    assert inspect(path).size_px == (16, 16)


def test_a_name_longer_than_a_file_system_takes_is_refused_in_a_sentence(tmp_path):
    said = refused(tmp_path / ("a" * 300 + ".mp4"))
    assert "no such file" in said or "cannot be read" in said


@pytest.mark.skipif(sys.platform != "linux", reason="other systems' names are Unicode")
def test_a_name_that_is_not_utf_8_is_read(clip):
    odd = os.path.join(os.fsencode(clip.parent), b"fen\xff.mp4")  # noqa: PTH118
    os.rename(os.fsencode(clip), odd)  # noqa: PTH104
    facts = inspect(os.fsdecode(odd))
    assert [number_of(frame.luma) for frame in frames(facts)] == list(range(20))


def test_a_file_that_lacks_its_last_bytes_and_no_frame_says_so(clip):
    whole = clip.read_bytes()
    clip.write_bytes(whole[:-8])
    facts = inspect(clip)
    assert (facts.missing_bytes, facts.missing_frames) == (8, 0)
    assert any(
        "8 bytes that it announces are missing, but none of its frames" in n for n in facts.notes
    )
    lost: list[str] = []
    seen = list(frames(facts, on_note=lost.append))
    # The picture that was cut is lost, none of those before it.
    assert [number_of(frame.luma) for frame in seen] == list(range(19))
    assert any("1 of 20 frames could not be read" in note for note in lost)


def test_a_file_that_lacks_frames_counts_them(clip):
    whole = clip.read_bytes()
    clip.write_bytes(whole[:-300])
    facts = inspect(clip)
    assert facts.missing_bytes == 300
    assert facts.missing_frames == 20 - facts.frame_count > 0
    assert not any("none of its frames" in note for note in facts.notes)


def test_a_whole_file_lacks_nothing(clip):
    facts = inspect(clip)
    assert (facts.missing_bytes, facts.missing_frames) == (0, 0)


@pytest.mark.parametrize("value", ["nan", "-5", "1e300", "9" * 5000])
def test_a_readout_tag_that_cannot_be_is_left_out(value, tmp_path):
    tag = "com.apple.quicktime.camera.framereadouttimeinmicroseconds"
    path = tmp_path / "tagged.mov"
    write(path, range(5), tags={tag: value})
    assert not any("readout_s" in note for note in inspect(path).notes)
