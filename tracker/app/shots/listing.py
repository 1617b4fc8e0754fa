"""The table of shots, and the rejected candidates below it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from nicegui import ui

from tracker.app import parts
from tracker.app.shots.desk import Desk
from tracker.records import Quality, RejectedCandidate, Shot
from tracker.report.answer_words import FIGURES
from tracker.report.rounding import figure_rows

SHOWN = (FIGURES[0], FIGURES[2])
"""Figures of the table; the others stand beside the film."""

HEAD = ("shot", *(f"{name}, {unit}" for name, _, _, unit in SHOWN), "quality")

MARKS = {Quality.GOOD: "good", Quality.CHECK: "look at it", Quality.REJECTED: "rejected"}
"""What is said of each quality."""


@dataclass
class Listing:
    """The table as a tab shows it.

    Attributes
    ----------
    desk : Desk
    on_choose : callable
        Called with the shot that a person chooses.
    on_look : callable
        Called with the rejected candidate to look at.
    """

    desk: Desk
    on_choose: Callable[[Shot], object]
    on_look: Callable[[RejectedCandidate], object]
    _rows: list[tuple[Shot, parts.Text]] = field(default_factory=list)
    _others: list[tuple[RejectedCandidate, parts.Text]] = field(default_factory=list)

    def build(self) -> None:
        """Put the table, clip by clip."""
        assert self.desk.shots is not None
        self._rows.clear()
        self._others.clear()
        with ui.element("table").classes("shots-table"):
            if self.desk.shots.shots:
                parts.text("caption", "± is one standard uncertainty.")
            with ui.element("thead"), ui.element("tr"):
                for number, words in enumerate(HEAD):
                    kind = "number" if 0 < number <= len(SHOWN) else ""
                    parts.text("th", words, kind).props["scope"] = "col"
            for task in self.desk.shots.kept.tasks:
                file = task.ready.clip.file
                self._clip(
                    file, [one.shot for one in self.desk.shots.shots if one.shot.clip == file]
                )
        self._candidates()
        self.mark()

    def mark(self) -> None:
        """Mark the row that is chosen."""
        shot, candidate = self.desk.shot, self.desk.candidate
        for row, made in self._rows:
            _press(made, shot is not None and row is shot.shot)
        for other, made in self._others:
            _press(made, other is candidate)

    def _clip(self, file: str, shots: list[Shot]) -> None:
        with ui.element("tbody"):
            with ui.element("tr").classes("of"):
                name = parts.text("th", file)
                name.props.update({"scope": "rowgroup", "colspan": len(HEAD)})
            columns = [(column, u_column) for _, column, u_column, _ in SHOWN]
            for shot, cells in zip(shots, figure_rows(shots, columns), strict=True):
                self._row(shot, cells)
            if not shots:
                with ui.element("tr"):
                    words = "No shot. Add one that was missed with two clicks."
                    parts.text("td", words, "quiet").props["colspan"] = len(HEAD)

    def _row(self, shot: Shot, cells: tuple[str, ...]) -> None:
        with ui.element("tr").classes(f"row-{shot.quality}"):
            with ui.element("td"):
                made = parts.button(f"Shot {shot.shot}", lambda: self.on_choose(shot))
                self._rows.append((shot, made))
            for value in cells:
                parts.text("td", value, "number")
            cell = parts.text("td", MARKS[shot.quality], "mark")
            cell.classes({Quality.GOOD: "good", Quality.CHECK: "doubt"}.get(shot.quality, ""))

    def _candidates(self) -> None:
        """Put what was rejected by the search, to be unfolded."""
        assert self.desk.shots is not None
        candidates = self.desk.shots.candidates
        if not candidates:
            return
        count = len(candidates)
        with parts.fold(f"{count} rejected candidate{'s' if count > 1 else ''}, likeliest first"):
            for one in sorted(candidates, key=lambda each: -each.support):
                with parts.group("stack"):
                    label = f"{one.clip}, at {one.release_s:.2f} s"
                    made = parts.button(label, partial(self.on_look, one))
                    self._others.append((one, made))
                    parts.sentence(one.reason, "hint")


def _press(made: parts.Text, pressed: bool) -> None:
    made.props["aria-pressed"] = "true" if pressed else "false"
    made.update()
