"""The picture to mark: a frame with what the calibration draws, markers to pick, and a loupe."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from tracker.app.drawn import DrawnPicture
from tracker.session import ClipEntry
from tracker.workflow.field import FieldAnswer, Suggestion


@dataclass(frozen=True)
class Moved:
    """A marker that a person put at a place of the frame.

    Attributes
    ----------
    clip : str
        File of the clip whose frame it was.
    name : str
    pixel : (float, float)
        Column and row.
    final : bool
        False while it is still being moved.
    close : bool
        Whether it was placed under the loupe or by steps of a pixel and less.
    serial : int
        Number of the change, which its answer carries.
    """

    clip: str
    name: str
    pixel: tuple[float, float]
    final: bool
    close: bool
    serial: int


@dataclass(frozen=True)
class Frame:
    """A frame that is shown: its address, size and what it is in words."""

    address: str
    size_px: tuple[int, int]
    described: str


class MarkPicture(DrawnPicture, component="picture.js"):
    """A frame to mark; emits what a person does in it."""

    def focus_stage(self) -> None:
        """Give the picture the keyboard."""
        self.run_method("chooseHere")

    def on_moved(self, call: Callable[[Moved], Any]) -> None:
        """Have a function called for every place that a marker is put to."""
        self.on_place("moved", _moved, call)


def _moved(given: Mapping[str, Any]) -> Moved:
    return Moved(
        str(given["clip"]),
        str(given["name"]),
        (float(given["x"]), float(given["y"])),
        bool(given["final"]),
        bool(given["close"]),
        int(given["serial"]),
    )


def state_of(
    frame: Frame,
    clip: ClipEntry,
    answer: FieldAnswer,
    suggestions: Mapping[str, Suggestion],
    chosen: str,
) -> dict[str, Any]:
    """Return what the picture shows, as plain data."""
    return {
        "src": frame.address,
        "width": frame.size_px[0],
        "height": frame.size_px[1],
        "described": frame.described,
        "clip": clip.file,
        "chosen": chosen,
        "scene": None if answer.scene is None else asdict(answer.scene),
        "marks": [
            {
                "name": entry.name,
                "pixel": entry.pixel,
                "expected": answer.expected.get(entry.name),
                "suggested": (
                    suggestions[entry.name].pixel
                    if entry.pixel is None and entry.name in suggestions
                    else None
                ),
                "suspect": entry.name in answer.suspects,
            }
            for entry in clip.markers
        ],
    }
