"""What the field answers, as sentences that change in place."""

from tracker.app import parts
from tracker.workflow.field import FieldAnswer


class Questions:
    """What is likely a slip, beside the fields."""

    def __init__(self) -> None:
        self._lines = parts.Lines("field-questions")
        self._lines.place.props.update({"role": "status", "aria-live": "polite"})

    def show(self, questions: tuple[str, ...]) -> None:
        """Show the questions of an answer; none where there are none."""
        self._lines.show((words, "doubt") for words in questions)


class AnswerWords:
    """The sentences of an answer."""

    def __init__(self) -> None:
        with parts.group("field-answer"):
            self._words = parts.Lines()
            self._words.place.props.update({"role": "status", "aria-live": "polite"})
            self._more = parts.fold("More about this camera")
            with self._more:
                self._details = parts.Lines()

    def show(self, answer: FieldAnswer) -> None:
        """Show an answer; what takes longer to read waits for one with a search for mistakes."""
        lines = [(words, "doubt" if answer.landing else "lead") for words in answer.faults]
        if answer.landing:
            first = [(answer.next_step, "lead"), (answer.landing, "")]
            lines = [(answer.landing, "lead"), *lines] if lines or not answer.next_step else first
            lines += [(answer.check, "quiet")]
        self._words.show(lines)
        if answer.searched:
            self._details.show((words, "") for words in (answer.weakest, *answer.details))
        parts.show_if(bool(answer.landing), self._more)
