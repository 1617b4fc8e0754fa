"""Drag and lift in words: what decided them for a shot, and the values from all shots."""

from collections.abc import Mapping, Sequence

from tracker.records import MeasuredShot, Pooled
from tracker.report.rounding import with_uncertainty

DECIDED = {
    "flight": "the drag was measured in the flight itself",
    "both": "the drag comes from the flight and the ball table together",
    "table": "the drag is the ball table's, since the flight says little of it",
}
LIFT = {
    "supported": "the flight shows lift, as spin gives it",
    "undecided": "whether spin lifted it stays open",
    "none": "it shows no lift",
}
ODD = 0.05
"""Chance of Cochran's Q below which shots are said to differ."""


def model_clauses(shots: Sequence[MeasuredShot]) -> list[str]:
    """Return a clause for each way in which drag and lift were decided in the shots of a clip."""
    alike: dict[tuple[str, str], list[int]] = {}
    for measured in shots:
        if measured.model is not None:
            key = (measured.model.drag_from, measured.model.lift)
            alike.setdefault(key, []).append(measured.shot.shot)
    return [
        f"{'shot' if len(numbers) == 1 else 'shots'} {_listed(numbers)}: "
        f"{DECIDED[source]}; {LIFT[lift]}"
        for (source, lift), numbers in alike.items()
    ]


def pooled_clauses(pooled: Mapping[str, Pooled]) -> list[str]:
    """Return what all shots of a session say of drag and lift; nothing without a pool."""
    if not pooled:
        return []
    drag = pooled["drag_coefficient"]
    clauses = [
        f"{drag.shots} shots together: drag coefficient {with_uncertainty(drag.value, drag.u)} at "
        f"20 m/s, expected {with_uncertainty(drag.expected, drag.expected_u)}; {_scatter(drag)}"
    ]
    up, side = pooled["lift_up"], pooled["lift_side"]
    clauses.append(
        f"lift coefficient up {with_uncertainty(up.value, up.u)}, to the left "
        f"{with_uncertainty(side.value, side.u)}"
    )
    return clauses


def _scatter(found: Pooled) -> str:
    if found.q_p < ODD:
        return f"shots differ by a standard deviation of {found.between_sd:.2g} beyond their own ±"
    return "the shots agree within their own ±"


def _listed(numbers: Sequence[int]) -> str:
    texts = [str(number) for number in numbers]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"
