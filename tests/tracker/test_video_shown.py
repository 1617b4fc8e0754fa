"""Parts of a decoded frame have the colours of the whole, without its conversion."""

from pathlib import Path

import numpy as np
import pytest

from tracker.video import ClipFacts, ClipWriter, Shown, from_frames, from_pictures, inspect
from tracker.video import shown as shown_module

Box = tuple[int, int, int, int]
BOXES: tuple[Box, ...] = (
    (0, 0, 29, 29),
    (67, 40, 96, 62),
    (31, 17, 32, 18),
    (3, 1, 80, 61),
    (0, 0, 96, 62),
    (95, 61, 96, 62),
)


def clip(path: Path, size: tuple[int, int]) -> ClipFacts:
    rng = np.random.default_rng(4)
    with ClipWriter(path, size, 30) as writer:
        for _ in range(3):
            writer.write_bgr(rng.integers(0, 256, (size[1], size[0], 3)).astype(np.uint8))
    return inspect(path)


@pytest.mark.parametrize(("width", "converted"), [(96, 0), (98, 3)])
def test_a_part_is_the_same_as_in_the_whole_frame(
    width: int, converted: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A frame whose width is no multiple of sixteen is converted whole."""
    facts = clip(tmp_path / "a.mp4", (width, 62))
    pictures = from_pictures(facts, range(3), lambda _, image: image)
    whole: list[object] = []
    colour = shown_module.colour

    def counted(*given: object) -> np.ndarray:
        whole.append(given)
        return colour(*given)  # type: ignore[arg-type]

    def parts(index: int, shown: Shown) -> list[np.ndarray]:
        return [shown.part(box) for box in BOXES]

    monkeypatch.setattr(shown_module, "colour", counted)
    found = from_frames(facts, range(3), parts)
    assert len(whole) == converted
    for index, cut in found.items():
        for (left, top, right, bottom), image in zip(BOXES, cut, strict=True):
            np.testing.assert_array_equal(image, pictures[index][top:bottom, left:right])
            assert image.flags.writeable and image.flags.owndata


def test_a_part_is_cut_from_the_whole_where_that_is_made(tmp_path: Path) -> None:
    facts = clip(tmp_path / "a.mp4", (96, 62))

    def both(_: int, shown: Shown) -> None:
        image = shown.whole()
        assert image is shown.whole() and image.shape == (62, 96, 3)
        part = shown.part((5, 7, 20, 30))
        np.testing.assert_array_equal(part, image[7:30, 5:20])
        part[:] = 0
        assert image[7:30, 5:20].any()

    assert list(from_frames(facts, [1], both)) == [1]
