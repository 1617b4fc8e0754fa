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
    _rows: list["Row"] = field(default_factory=list)
    _others: list[tuple[RejectedCandidate, parts.Text]] = field(default_factory=list)
    _listed: tuple[object, ...] = ()

    def show(self, place: ui.element) -> None:
        """Show the shots as they are; rows are put anew only where there are others."""
        shots = self.desk.shots
        assert shots is not None
        files = tuple(task.ready.clip.file for task in shots.kept.tasks)
        rows = tuple((one.shot.clip, one.shot.shot) for one in shots.shots)
        listed = (files, rows, tuple(shots.candidates))
        if listed != self._listed:
            self._listed = listed
            place.clear()
            with place:
                self.build()
            return
        for file in files:
            mine = [one.shot for one in shots.shots if one.shot.clip == file]
            for shot, cells in zip(mine, _cells(mine), strict=True):
                row = next(each for each in self._rows if _same(each.shot, shot))
                row.show(shot, cells)
        self.mark()

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
        for row in self._rows:
            _press(row.button, shot is not None and row.shot is shot.shot)
        for other, made in self._others:
            _press(made, other is candidate)

    def _clip(self, file: str, shots: list[Shot]) -> None:
        with ui.element("tbody"):
            with ui.element("tr").classes("of"):
                name = parts.text("th", file)
                name.props.update({"scope": "rowgroup", "colspan": len(HEAD)})
            for shot, cells in zip(shots, _cells(shots), strict=True):
                self._rows.append(Row(shot, cells, self.on_choose))
            if not shots:
                with ui.element("tr"):
                    words = "No shot. Add one that was missed with two clicks."
                    parts.text("td", words, "quiet").props["colspan"] = len(HEAD)

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


class Row:
    """A row of the table.

    Parameters
    ----------
    shot : Shot
    cells : tuple of str
        Its figures.
    on_choose : callable
        Called with the shot as it is then.
    """

    def __init__(
        self, shot: Shot, cells: tuple[str, ...], on_choose: Callable[[Shot], object]
    ) -> None:
        self.shot = shot
        self._line = ui.element("tr")
        with self._line:
            with ui.element("td"):
                self.button = parts.button(f"Shot {shot.shot}", lambda: on_choose(self.shot))
            self._cells = [parts.text("td", "", "number") for _ in cells]
            self._mark = parts.text("td", "")
        self.show(shot, cells)

    def show(self, shot: Shot, cells: tuple[str, ...]) -> None:
        """Show the shot as it is now."""
        self.shot = shot
        for made, value in zip(self._cells, cells, strict=True):
            made.text = value
        self._mark.text = MARKS[shot.quality]
        self._line.classes(replace=f"row-{shot.quality}")
        kind = {Quality.GOOD: "good", Quality.CHECK: "doubt"}.get(shot.quality, "")
        self._mark.classes(replace=f"mark {kind}")


def _cells(shots: list[Shot]) -> list[tuple[str, ...]]:
    """Return the figures of a clip's shots, each as precise as the others."""
    return list(figure_rows(shots, [(column, u_column) for _, column, u_column, _ in SHOWN]))


def _same(one: Shot, other: Shot) -> bool:
    return (one.clip, one.shot) == (other.clip, other.shot)


def _press(made: parts.Text, pressed: bool) -> None:
    made.props["aria-pressed"] = "true" if pressed else "false"
    made.update()
