"""An interlaced frame holds two moments in turn; only one of them is measured."""

from types import SimpleNamespace

import av
import numpy as np
import pytest

from tracker.video import frames, inspect
from tracker.video.pixels import one_moment

INTERLACED, PROGRESSIVE = (SimpleNamespace(interlaced_frame=flag) for flag in (True, False))


@pytest.mark.parametrize("height", [4, 5, 8, 9])
def test_the_odd_rows_follow_from_the_even_ones_alone(height):
    shade = np.arange(height, dtype=np.uint8)[:, None] * np.array([10, 6, 2], np.uint8)
    combed = shade.copy()
    combed[1::2] = 200
    found = one_moment(combed, INTERLACED)
    last = height - 1 if height % 2 == 0 else height
    np.testing.assert_array_equal(found[:last], shade[:last])
    np.testing.assert_array_equal(found[last:], shade[last - 1 : last][: height - last])
    assert combed[1, 0] == 200


def test_a_progressive_frame_costs_no_copy():
    plane = np.zeros((6, 4), np.uint8)
    assert one_moment(plane, PROGRESSIVE) is plane


@pytest.mark.parametrize("interlaced", [True, False])
def test_a_ball_between_two_fields_is_one_spot(tmp_path, interlaced):
    """A bar that stands at column 12 in the even rows and at 30 in the odd ones."""
    picture = np.full((48, 64), 60, np.uint8)
    picture[::2, 12:16] = picture[1::2, 30:34] = 220
    clip = tmp_path / "bar.mp4"
    with av.open(str(clip), "w") as container:
        stream = container.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        stream.options = {"crf": "4", "x264-params": "tff=1" if interlaced else ""}
        for _ in range(5):
            frame = av.VideoFrame.from_ndarray(picture, format="gray").reformat(format="yuv420p")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    facts = inspect(clip)
    luma = next(frames(facts)).luma.astype(int)
    even, odd = (luma[:, start : start + 4].mean() for start in (12, 30))
    assert luma[10, 12:16].mean() > 180
    assert (odd < 80) == interlaced
    assert (even > 180) == interlaced
    assert any("interlaced" in note for note in facts.notes) == interlaced
