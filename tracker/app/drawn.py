"""Pictures that the browser draws from a state, and in which a person points at places."""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from nicegui import ui
from nicegui.events import GenericEventArguments

Place = TypeVar("Place")


class DrawnPicture(ui.element):
    """An element with a state; a subclass names its component: ``component="plan.js"``.

    Parameters
    ----------
    state : mapping
        Plain data, as the component's property ``state`` takes them.
    """

    def __init__(self, state: Mapping[str, Any]) -> None:
        super().__init__()
        self._props["state"] = state

    def show(self, state: Mapping[str, Any], serial: int = 0) -> None:
        """Show another state; `serial` is the number of the change that it answers, 0 for none."""
        # A tab that loads again gets the newest state from the element itself.
        self._props["state"] = state
        self.run_method("show", state, serial)

    def on_place(
        self, event: str, read: Callable[[Mapping[str, Any]], Place], call: Callable[[Place], Any]
    ) -> None:
        """Have a function called for each event, with what `read` makes of its data."""

        def came(arguments: GenericEventArguments) -> Any:
            return call(read(arguments.args))

        self.on(event, came)
