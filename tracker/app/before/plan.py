"""The field from above, as an element that says what a person moves."""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from tracker.app.drawn import DrawnPicture
from tracker.workflow.planned_field import PlanAnswer, PlannedField

CAMERA = ""
"""Key of the camera among the things that can be moved; markers have their names."""


@dataclass(frozen=True)
class MovedThing:
    """The camera or a marker that a person moved.

    Attributes
    ----------
    key : str
        `CAMERA` or a marker's name.
    along_m, across_m : float
    final : bool
        False while it is still being moved.
    serial : int
        Number of the change, which its answer carries.
    """

    key: str
    along_m: float
    across_m: float
    final: bool
    serial: int


class PlanPicture(DrawnPicture, component="plan.js"):
    """A field from above; emits what a person moves."""

    def on_moved(self, call: Callable[[MovedThing], Any]) -> None:
        """Have a function called for every place that something is moved to."""
        self.on_place("moved", _moved, call)


def _moved(given: Mapping[str, Any]) -> MovedThing:
    return MovedThing(
        str(given["key"]),
        float(given["along"]),
        float(given["across"]),
        bool(given["final"]),
        int(given["serial"]),
    )


def plan_state(field: PlannedField, answer: PlanAnswer, chosen: str) -> dict[str, Any]:
    """Return what the picture shows, as plain data."""
    return {
        "scene": asdict(answer.scene),
        "camera": list(field.position_m[:2]),
        "clear": field.plan.clear_m,
        "chosen": chosen,
        "markers": [{"name": one.name, "at": list(one.ground_m[:2])} for one in field.markers],
    }
