"""What a person changes of a planned field, each to be done again on a field that changed since."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from tracker.app.before.plan import CAMERA
from tracker.session import MarkerEntry
from tracker.workflow.planned_field import PlannedField, replaced

Change = Callable[[PlannedField], PlannedField]


@dataclass(frozen=True)
class Put:
    """The camera or a marker put at a place; a marker that is gone stays so."""

    key: str
    place_m: tuple[float, float, float]

    def __call__(self, field: PlannedField) -> PlannedField:
        """Return the field so."""
        position_m = self.place_m if self.key == CAMERA else field.position_m
        markers = (
            replace(one, ground_m=self.place_m) if one.name == self.key else one
            for one in field.markers
        )
        return replaced(field, position_m, tuple(markers))


@dataclass(frozen=True)
class Add:
    """A further marker."""

    marker: MarkerEntry

    def __call__(self, field: PlannedField) -> PlannedField:
        """Return the field with it."""
        return replaced(field, field.position_m, (*field.markers, self.marker))


@dataclass(frozen=True)
class Remove:
    """A marker taken away."""

    name: str

    def __call__(self, field: PlannedField) -> PlannedField:
        """Return the field without it."""
        left = tuple(one for one in field.markers if one.name != self.name)
        return replaced(field, field.position_m, left)
