"""Beside the picture: the list of markers, and the form of the chosen one."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from nicegui import ui

from calibration.errors import InputError
from tracker.app import parts
from tracker.app.field.desk import Desk
from tracker.session import FieldChange, MarkerEntry, length_m
from tracker.workflow import field_edits as edits

AXES = (
    ("Along", "down the firing line"),
    ("Across", "to the left of the line positive, to the right negative"),
    ("Up", "above the ground at the launcher"),
)

MARKER = ("chosen marker",)
"""What a notice about a field of the chosen marker is about, its axis behind it."""


class MarkerList:
    """The markers as buttons that choose them, each with its state in words.

    Parameters
    ----------
    desk : Desk
    choose : callable
        Given a marker's name.
    """

    def __init__(self, desk: Desk, choose: Callable[[str], Any]) -> None:
        self.desk = desk
        self.choose = choose
        self._rows: dict[str, tuple[parts.Text, parts.Text]] = {}
        self._listed: list[str] | None = None
        self._kinds: dict[str, str] = {}
        self._list = ui.element("ul").classes("field-markers")
        self._list.props["aria-label"] = "Markers"

    def show(self) -> None:
        """Show the markers as they are."""
        names = [one.name for one in self.desk.markers]
        if names != self._listed:
            self._listed = names
            self._build(names)
        for marker in self.desk.markers:
            button, state = self._rows[marker.name]
            pressed = "true" if marker.name == self.desk.chosen else "false"
            kind = "doubt" if marker.name in self.desk.answer.suspects else "quiet"
            words = self._state_of(marker)
            if button.props.get("aria-pressed") != pressed:
                button.props["aria-pressed"] = pressed
                button.update()
            if (state.text, kind) != (words, self._kinds.get(marker.name)):
                self._kinds[marker.name] = kind
                state.text = words
                state.classes(replace=f"state {kind}")

    def _build(self, names: list[str]) -> None:
        self._rows.clear()
        self._kinds.clear()
        self._list.clear()
        with self._list:
            if not names:
                parts.text(
                    "li",
                    "No marker yet. Four or more make a good camera: one every 10 m along the "
                    "firing line, and one or two off it.",
                )
            for name in names:
                with ui.element("li"):
                    button = parts.button("", partial(self.choose, name))
                    with button:
                        parts.text("span", name, "name")
                        state = parts.text("span", "", "state")
                self._rows[name] = (button, state)

    def _state_of(self, marker: MarkerEntry) -> str:
        answer = self.desk.answer
        if marker.pixel is None:
            return "suggested" if marker.name in self.desk.suggestions else "not picked"
        if marker.name in answer.suspects:
            return "does not agree"
        return answer.residuals.get(marker.name, "picked")


class MarkerForm:
    """Name and place of the chosen marker, as fields.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._shown: str | None = None
        self._called: dict[str, str] = {}
        self._entries: list[parts.Entry] = []
        self._place = parts.group("field-form", label="Chosen marker")

    def show(self) -> None:
        """Show the chosen marker; what is being typed into the same form stays."""
        marker = self.desk.marker(self.desk.chosen)
        if marker is None:
            self._shown = None
            self._place.clear()
            return
        texts = [marker.name, *(f"{value:g}" for value in marker.ground_m)]
        if self._shown != marker.name:
            self._build(texts)
            self._shown = marker.name
        for entry, text in zip(self._entries, texts, strict=True):
            entry.rewrite(text)
        self._delete.text = f"Delete marker {marker.name}"

    def _build(self, texts: list[str]) -> None:
        self._place.clear()
        with self._place:
            self._entries = [parts.field("Name", texts[0], self._rename)]
            with parts.group("field-metres"):
                for axis, (label, meaning) in enumerate(AXES):
                    self._entries.append(
                        parts.field(
                            label,
                            texts[axis + 1],
                            partial(self._retape, axis),
                            "m",
                            meaning,
                        )
                    )
            parts.sentence("Feet are taken too, as 33 ft or 32 ft 9 in.", "hint")
            with parts.group("row"):
                parts.button("Clear the pick in this frame", self._unpick)
                self._delete = parts.button("", self._remove).classes("apart")

    async def _rename(self, text: str) -> None:
        desk, name = self.desk, self.desk.chosen
        wanted = text.strip()
        if wanted and wanted != name:
            # The same form under another name: what is being typed into it stays.
            desk.chosen = self._shown = wanted
            await desk.save(
                f"{name} named {wanted}",
                lambda: edits.rename(desk.session, desk.clip, name, wanted),
            )

    async def _retape(self, axis: int, text: str) -> None:
        # Which may be in the file only when what was typed before is saved.
        desk, name = self.desk, self.desk.chosen
        try:
            value = length_m(text)
        except InputError as error:
            desk.view.complain(error.sentences(), about=(*MARKER, axis))
            return
        axis_name = AXES[axis][0].lower()

        def changes() -> Sequence[FieldChange]:
            # Beside what was typed into the field before it, which is in the file by now.
            now = desk.marker(self._now_called(name))
            if now is None:
                return ()
            place = [*now.ground_m[:axis], value, *now.ground_m[axis + 1 :]]
            made = edits.retape(desk.session, desk.clip, now.name, place)
            called = edits.renamed(desk.clip.markers, now.name, place[0])
            if called != now.name:
                self._called[now.name] = called
                if desk.chosen == now.name:
                    # The same form under another name: what is being typed into it stays.
                    desk.chosen = self._shown = called
            return made

        done = await desk.save(f"{name}: {axis_name} {value:g} m", changes)
        self.show()
        now = desk.marker(self._now_called(name))
        if done:
            desk.view.settle((*MARKER, axis))
        if done and now is not None and self._shown == now.name:
            self._entries[axis + 1].rewrite(f"{now.ground_m[axis]:g}", text)

    def _now_called(self, name: str) -> str:
        """Return what a marker is called that was taped anew meanwhile, once or several times."""
        for _ in self._called:
            if self.desk.marker(name) is None:
                name = self._called.get(name, name)
        return name

    async def _unpick(self) -> None:
        desk, name = self.desk, self.desk.chosen
        await desk.save(f"{name} not picked", lambda: edits.unpick(desk.session, desk.clip, name))

    async def _remove(self) -> None:
        desk, name = self.desk, self.desk.chosen
        await desk.save(f"{name} deleted", lambda: edits.remove(desk.session, desk.clip, name))
