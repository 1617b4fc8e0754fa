"""What the field answers, as sentences that change in place."""

from nicegui import ui

from tracker.app import parts
from tracker.workflow.field import FieldAnswer


class Questions:
    """What is likely a slip, beside the fields."""

    def __init__(self) -> None:
        self._shown: tuple[str, ...] = ()
        self._place = parts.group("field-questions")
        self._place.props.update({"role": "status", "aria-live": "polite"})

    def show(self, questions: tuple[str, ...]) -> None:
        """Show the questions of an answer; none where there are none."""
        if questions != self._shown:
            self._shown = questions
            self._place.clear()
            with self._place:
                for words in questions:
                    parts.sentence(words, "doubt")


class AnswerWords:
    """The sentences of an answer."""

    def __init__(self) -> None:
        self._kinds: tuple[str, ...] | None = None
        self._details: tuple[str, ...] = ()
        self._lines: list[parts.Text] = []
        with parts.group("field-answer") as self._place:
            self._words = parts.group()
            self._words.props.update({"role": "status", "aria-live": "polite"})
            self._more = parts.fold("More about this camera")
            with self._more:
                self._listed = parts.group()

    def show(self, answer: FieldAnswer) -> None:
        """Show an answer; what takes longer to read waits for one with a search for mistakes."""
        lines = [(words, "doubt" if answer.landing else "lead") for words in answer.faults]
        if answer.landing:
            first = [(answer.next_step, "lead"), (answer.landing, "")]
            lines = [(answer.landing, "lead"), *lines] if lines or not answer.next_step else first
            lines += [(answer.check, "quiet")]
        lines = [(words, kind) for words, kind in lines if words]
        kinds = tuple(kind for _, kind in lines)
        if kinds == self._kinds:
            for made, (words, _) in zip(self._lines, lines, strict=True):
                if made.text != words:
                    made.text = words
        else:
            self._words.clear()
            with self._words:
                self._lines = [parts.sentence(words, kind) for words, kind in lines]
            self._kinds = kinds
        details = (answer.weakest, *answer.details)
        if answer.searched and details != self._details:
            self._details = details
            self._listed.clear()
            with self._listed:
                for words in filter(None, details):
                    parts.sentence(words)
        self._hide(self._more, not answer.landing)

    @staticmethod
    def _hide(element: ui.element, hidden: bool) -> None:
        if element.props.get("hidden", False) != hidden:
            element.props["hidden"] = hidden
            element.update()
