"""Clips that were cut off or damaged: what can be read is used, what is doubtful is reported."""

import numpy as np
import pytest

from calibration.errors import InputError
from tests.tracker.barcode_clips import FOOTAGE, coded, number_of, write
from tracker.video import ClipWriter, decode_only, frames, inspect, picture, pictures

GROUP = 15


@pytest.fixture
def clip(tmp_path):
    return write(tmp_path / "a.mp4", range(90), options={"g": str(GROUP), "sc_threshold": "0"})


def boxes(data):
    """Return where each top box of an MP4 begins, by name."""
    places, at = {}, 0
    while at < len(data):
        places[data[at + 4 : at + 8].decode()] = at
        at += int.from_bytes(data[at : at + 4], "big")
    return places


def read(path):
    notes = []
    facts = inspect(path)
    return facts, list(frames(facts, on_note=notes.append)), notes


def test_a_file_cut_off_at_the_end_gives_what_is_there(clip):
    data = clip.read_bytes()
    assert boxes(data)["moov"] < boxes(data)["mdat"]
    clip.write_bytes(data[: boxes(data)["mdat"] + (len(data) - boxes(data)["mdat"]) * 6 // 10])
    facts, seen, _ = read(clip)
    assert 20 < len(seen) < 80
    assert all(number_of(frame.luma) == frame.index for frame in seen[:-1])
    assert [frame.time_s for frame in seen] == pytest.approx(np.arange(len(seen)) / 30)
    assert any("cut off" in note for note in facts.notes)


def test_a_file_without_its_table_is_refused(clip):
    data = clip.read_bytes()
    places = boxes(data)
    clip.write_bytes(data[: places["moov"]] + data[places["mdat"] :])
    with pytest.raises(InputError, match="table of frames"):
        inspect(clip)


def spoil(path, frame, how):
    """Damage the bytes of one stored frame of a clip without reordered frames."""
    import av

    with av.open(str(path)) as container:
        packets = [p for p in container.demux(video=0) if p.size]
        position, size = packets[frame].pos, packets[frame].size
    data = bytearray(path.read_bytes())
    data[position : position + size] = how(size)
    path.write_bytes(bytes(data))


@pytest.mark.parametrize("how", [bytes, lambda n: bytes([255]) * n])
def test_damage_is_suspected_up_to_the_next_key_frame(how, tmp_path):
    path = write(
        tmp_path / "a.mp4",
        range(90),
        options={"g": str(GROUP), "bf": "0", "sc_threshold": "0"},
    )
    spoil(path, 35, how)
    _, seen, notes = read(path)
    by_index = {frame.index: frame for frame in seen}
    assert len(seen) >= 89
    assert [frame.index for frame in seen] == sorted(by_index)
    # Key frames are at 30 and 45: from the damage to 44 nothing can be trusted.
    assert all(by_index[i].suspect for i in range(36, 45) if i in by_index)
    unharmed = [*range(30), *range(45, 90)]
    assert not any(by_index[i].suspect for i in unharmed)
    assert all(number_of(by_index[i].luma) == i for i in unharmed)
    assert all(by_index[i].time_s == pytest.approx(i / 30) for i in by_index)
    assert any("may be damaged" in sentence for sentence in notes)


def test_other_pictures_can_be_seen_in_a_damaged_clip(tmp_path):
    path = write(tmp_path / "a.mp4", range(90), options={"g": "15", "bf": "0"})
    spoil(path, 35, bytes)
    facts = inspect(path)
    assert number_of(picture(facts, 50)[:, :, 1]) == 50
    assert number_of(pictures(facts, [10, 60])[60][:, :, 1]) == 60


def test_a_clip_whose_first_key_frame_is_lost(tmp_path):
    path = write(tmp_path / "a.mp4", range(60), options={"g": "15", "bf": "0"})
    spoil(path, 0, bytes)
    _, seen, notes = read(path)
    sure = [frame for frame in seen if not frame.suspect]
    assert [frame.index for frame in sure] == list(range(15, 60))
    assert all(number_of(frame.luma) == frame.index for frame in sure)
    assert notes


def test_a_clip_of_which_nothing_can_be_decoded_is_refused(tmp_path):
    path = write(tmp_path / "a.mp4", range(10), options={"g": "100", "bf": "0"})
    for frame in range(10):
        spoil(path, frame, bytes)
    with pytest.raises(InputError, match="not one frame"):
        inspect(path)


def test_a_picture_that_changes_its_size_is_refused(tmp_path):
    small = write(tmp_path / "small.ts", range(20), options={"bf": "0"})
    large = tmp_path / "large.ts"
    with ClipWriter(large, (320, 192), 30, options={"bf": "0"}) as clip:
        for number in range(20):
            clip.write_luma_chroma(
                np.repeat(np.repeat(coded(number), 2, 0), 2, 1), time_s=1.0 + number / 30
            )
    both = tmp_path / "both.ts"
    both.write_bytes(small.read_bytes() + large.read_bytes())
    facts = inspect(both)
    with pytest.raises(InputError, match="changes its size from 160 x 96 to 320 x 192"):
        list(frames(facts))


def test_a_file_that_has_gone_since_is_refused(clip):
    facts = inspect(clip)
    clip.unlink()
    with pytest.raises(InputError, match="no such file"):
        next(iter(frames(facts)))


def test_an_unfinished_clip_leaves_nothing_behind(tmp_path):
    with (
        pytest.raises(RuntimeError),
        ClipWriter(tmp_path / "a.mp4", (160, 96), 30) as writer,
    ):
        writer.write_luma_chroma(coded(0))
        raise RuntimeError
    assert list(tmp_path.iterdir()) == []


def test_the_same_frames_give_the_same_bytes(tmp_path):
    first = write(tmp_path / "a.mp4", range(30)).read_bytes()
    assert write(tmp_path / "b.mp4", range(30)).read_bytes() == first


def test_decoding_alone_takes_time(clip):
    assert 0.0 < decode_only(inspect(clip)) < 10.0


@pytest.mark.skipif(not FOOTAGE.is_dir(), reason="footage is not here")
def test_footage_that_is_corrupted():
    facts, seen, notes = read(FOOTAGE / "corrupted_after_28_frames.mp4")
    assert facts.frame_count == 50
    assert not any(frame.suspect for frame in seen[:28])
    assert all(frame.suspect for frame in seen[30:])
    assert any("could not be read" in sentence for sentence in notes)
    # The clip steps evenly, a tenth of a second a frame, whatever was lost.
    assert all(frame.time_s == pytest.approx(frame.index / 10) for frame in seen)
