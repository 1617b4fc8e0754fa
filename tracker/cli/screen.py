"""Printing on the terminal, whatever its encoding and width."""

import sys
from collections.abc import Iterable, Sequence
from glob import escape
from typing import IO, TYPE_CHECKING, Any, cast

from tracker.cli.modes import mode

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from tracker.workflow.measured import SessionResult

CAUTION = (
    "Flying balls and spinning wheels hurt: nobody down range, wheels guarded and stopped before "
    "anybody reaches in. Follow local rules and qualified people."
)


def prepare_console() -> None:
    """Print a question mark for a character that the console cannot print."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


class _Parting:
    """A stream that gets plain spaces where a line was not to break."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        from tracker.report.narrow import parted

        return self._stream.write(parted(text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def console(to_stderr: bool = False) -> "Console":
    """Return a console that neither colours numbers nor breaks words."""
    from rich.console import Console

    silent = mode().quiet if to_stderr else mode().silent
    stream = cast(IO[str], _Parting(sys.stderr if to_stderr else sys.stdout))
    return Console(file=stream, highlight=False, quiet=silent)


def show_json(document: object) -> None:
    """Print a document as JSON where --json asks for it."""
    if mode().json:
        print(_as_json(document, indent=2))


def show_json_line(document: object) -> None:
    """Print a document as one line of JSON where --json asks for it, at once."""
    if mode().json:
        print(_as_json(document), flush=True)


def _as_json(document: object, indent: int | None = None) -> str:
    """Return a document as JSON; its letters as codes where the output is not in UTF-8."""
    import json

    from tracker.report.documents import plain

    codes = "utf" not in (sys.stdout.encoding or "utf").lower()
    return json.dumps(plain(document), indent=indent, ensure_ascii=codes, allow_nan=False)


def complain(sentences: Iterable[str]) -> None:
    """Print faults to standard error, one sentence a line."""
    for sentence in sentences:
        print(sentence, file=sys.stderr)


def say(screen: "Console", sentences: Iterable[str]) -> None:
    """Print sentences as they are, wrapped at words."""
    from tracker.report.narrow import joined

    for sentence in sentences:
        screen.print(joined(sentence), markup=False)


def show_table(screen: "Console", table: "Table") -> None:
    """Print a table, or its cells line by line where the console is too narrow for it."""
    from tracker.report.narrow import fitted

    screen.print(fitted(screen, table))


def notes_of_all(results: "Sequence[SessionResult]") -> list[str]:
    """Return the notes that every clip of a run has, which are said once; none of a single one."""
    noted = [clip.said for result in results for clip in result.clips]
    if len(noted) < 2:
        return []
    return [note for note in noted[0] if all(note in notes for notes in noted[1:])]


def show_result(
    screen: "Console", result: "SessionResult", said_once: "Sequence[str]" = ()
) -> None:
    """Print the shots of every clip of a session, its notes, and the results folder.

    Parameters
    ----------
    screen : Console
    result : SessionResult
    said_once : sequence of str
        Notes that are left out here.
    """
    from tracker.report.flight_words import model_clauses, pooled_clauses
    from tracker.report.terminal import remarks, shots_table

    say(screen, [f"{result.session.name}"])
    for clip in result.clips:
        shots = [measured.shot for measured in clip.shots]
        count = {0: "no shot", 1: "1 shot"}.get(len(shots), f"{len(shots)} shots")
        say(screen, ["", f"{clip.clip.file}, {clip.clip.setup}: {count}"])
        if shots:
            show_table(screen, shots_table(shots, screen.width))
        say(screen, sentences(remarks(shots)))
        say(screen, sentences(model_clauses(clip.shots)))
        say(screen, sentences([note for note in clip.said if note not in said_once]))
    if result.pooled:
        say(screen, ["", *sentences(pooled_clauses(result.pooled))])
    if result.notes:
        say(screen, ["", *sentences(result.notes)])
    if result.kept:
        say(
            screen,
            [
                "",
                "The earlier results had been edited by hand. Your copy is kept beside the new "
                f"ones: {', '.join(result.kept)}. Decisions that last go through lobmeter review.",
            ],
        )
    if result.gone:
        say(screen, ["", *sentences(result.gone_notes)])
        # A quiet command is silent on what it did, not on what is no longer there.
        complain(sentences(result.gone_notes) if mode().quiet else ())
    say(screen, ["", f"Results: {result.folder}"])


def uncertainty_words(results: "Sequence[SessionResult]") -> list[str]:
    """Return what the figures after ± are, and what part of them all shots of a session share."""
    from tracker.report.budget_table import shared_sentence

    said = ["The figures after ± are standard uncertainties."]
    for result in results:
        shots = [shot for clip in result.clips for shot in clip.shots]
        shared = shared_sentence([shot.budget for shot in shots if shot.budget is not None])
        named = f"{result.session.name}: " if len(results) > 1 else ""
        said += [] if shared is None else [f"{named}{shared}"]
    return said


def show_causes(screen: "Console", result: "SessionResult") -> None:
    """Print why a clip yields no shot, and the picture that shows what was considered."""
    from tracker.workflow.inputs import picture_names

    names = picture_names(result.session.clips)
    for clip in result.clips:
        if clip.causes:
            # One of the clip, or one of each row that is rejected.
            name = f"{escape(names[clip.clip.file])}-*explained.jpg"
            pictures = ", ".join(str(each) for each in sorted(result.folder.glob(name)))
            say(screen, ["", f"{clip.clip.file}: {clip.notes[-1]}", f"What was seen: {pictures}"])


def result_document(result: "SessionResult") -> dict[str, object]:
    """Return the measurement of a session as data."""
    from tracker.report.documents import shot_document

    return {
        "session": result.session.name,
        "results": str(result.folder),
        "shots": [shot_document(shot) for shot in result.shots],
        "notes": [
            *(f"{clip.clip.file}: {note}" for clip in result.clips for note in clip.notes),
            *result.notes,
        ],
        "kept": list(result.kept),
        "gone": list(result.gone),
    }


def show_budgets(screen: "Console", result: "SessionResult") -> None:
    """Print each shot's uncertainties by source and what to improve first."""
    from calibration.site import SOURCES
    from tracker.report.budget_table import UNTAPED, budget_sentence, budget_table

    for clip in result.clips:
        best = () if clip.calibration is None else clip.calibration.weakest.remedies[:1]
        better = dict.fromkeys(SOURCES, best[0].text) if best else {}
        if clip.calibration is None:
            better = UNTAPED
        for measured in clip.shots:
            if measured.budget is None:
                continue
            say(screen, ["", f"{clip.clip.file}, shot {measured.shot.shot}: uncertainty by source"])
            show_table(screen, budget_table(measured.budget, screen.width))
            say(screen, sentences([budget_sentence(measured.budget, better)]))


def sentences(clauses: Sequence[str]) -> list[str]:
    """Return clauses as sentences: a capital first, but for a file's name, and one full stop."""
    return [f"{_capital(clause)}{'' if clause.endswith(('.', '?')) else '.'}" for clause in clauses]


def _capital(clause: str) -> str:
    first = clause.partition(" ")[0].rstrip(".,:;")
    return clause if "." in first else f"{clause[:1].upper()}{clause[1:]}"
