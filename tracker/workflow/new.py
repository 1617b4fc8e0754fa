"""``lobmeter new``: a session folder from clips as they come off a camera."""

import os
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from calibration.errors import InputError, typed
from tracker.flight.ball import ball_named
from tracker.results import put_in_place
from tracker.session import (
    SESSION_FILE,
    Draft,
    DraftClip,
    draft_toml,
    length_m,
    number,
    read_session,
)
from tracker.video import ClipFacts, inspect
from tracker.video.origin import ClipOrigin, origin_of
from tracker.workflow.inputs import made_of_each
from tracker.workflow.questions import HIGHEST_M

CLIPS = "clips"

POSITION = ("along", "across", "up")
"""Questions on where the camera stood; its position needs an answer to each."""

_DAY_FIRST = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})")

_BARE = frozenset("+-0123456789., /½¼¾")
"""What a length without a unit is written with."""


@dataclass(frozen=True)
class Film:
    """One clip with what its file states."""

    path: Path
    facts: ClipFacts
    origin: ClipOrigin

    @property
    def about(self) -> str:
        """The facts in a few words."""
        width, height = self.facts.size_px
        fps = self.facts.file_fps * self.facts.pace
        words = [f"{width} x {height}, {fps:.4g} frames a second, {self.facts.duration_s:.1f} s"]
        if self.facts.pace != 1.0:
            words.append(f"plays {self.facts.pace:.3g} times slower than life")
        if self.origin.device:
            words.append(self.origin.device)
        if self.origin.filmed is not None:
            words.append(f"{self.origin.filmed:%Y-%m-%d %H:%M}")
        return "; ".join(words)


@dataclass(frozen=True)
class Question:
    """What a person is asked.

    Attributes
    ----------
    key : str
        Of the answer.
    text : str
        In plain words, with the unit.
    default : str
        Taken for an empty answer; where it is empty itself, the field is left out.
    parse : callable
        Returns the value of an answer, or raises an InputError.
    """

    key: str
    text: str
    default: str
    parse: Callable[[str], Any]


def place_for_session(folder: Path, clips: Sequence[Path]) -> Path:
    """Return where the ``session.toml`` of a new session goes.

    Raises
    ------
    InputError
        Where there is a session already, or clips are named before the folder.
    """
    no_clip = next((clip for clip in clips if not clip.is_file()), None)
    if folder.is_file():
        place = "FOLDER" if no_clip is None else no_clip
        films_ = [folder, *(clip for clip in clips if clip != no_clip)]
        command = " ".join(typed(each) for each in (place, *films_))
        raise InputError(
            "is a file, not the new session's folder",
            where=str(folder),
            remedy=f"name the folder first, then the clips: lobmeter new {command}",
        )
    if no_clip is not None and no_clip.is_dir():
        what, remedy = "is a folder, not a clip", "name one new folder, then video files"
        raise InputError(what, where=str(no_clip), remedy=remedy)
    path = folder / SESSION_FILE
    if path.exists():
        raise InputError(
            "is there already",
            where=str(path),
            remedy="choose another folder, or write the clips into that file",
        )
    return path


def films(paths: Sequence[Path]) -> tuple[Film, ...]:
    """Read what the clips state about themselves.

    Raises
    ------
    InputErrors
        With every file that is no video.
    """
    return made_of_each(lambda path: Film(path, inspect(path), origin_of(path)), paths)


def questions(folder: Path, filmed: Sequence[Film]) -> tuple[Question, ...]:
    """Return what a person is asked about a new session.

    Parameters
    ----------
    folder : Path
        Where it will be.
    filmed : sequence of Film
    """
    day = _day(filmed)
    asked = [
        Question("name", "Name of the session", folder.resolve().name, str),
        Question("date", "Day, as 2026-05-17", day.isoformat() if day else "", _date),
        Question("ball", "Ball, as tennis, baseball or cricket", "tennis", _ball),
        Question(
            "release.height_m", "Height at which the ball leaves the launcher, m", "", _height_m
        ),
        Question("release.angle_deg", "Launch angle as set on the launcher, degrees", "", number),
        Question("along", "Camera: how far down the firing line, m", "", length_m),
        Question("across", "Camera: how far to the left of the line, m (right: -)", "", length_m),
        Question("up", "Camera: height above the ground, m", "", _height_m),
    ]
    asked += [
        Question(f"setup {number}", f"Setup that {film.path.name} shows", "setup 1", str)
        for number, film in enumerate(filmed)
    ]
    return tuple(asked)


def start_session(
    folder: Path, filmed: Sequence[Film], answers: Mapping[str, Any], copy: bool = False
) -> Path:
    """Write a new session; return its ``session.toml``.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    filmed : sequence of Film
    answers : mapping
        By the keys of the questions; what is missing is left out.
    copy : bool
        Whether the clips are copied into the folder; else they stay where they are.

    Raises
    ------
    InputError
        Where there is a session already, or a clip cannot be reached from the folder.
    """
    path = place_for_session(folder, [film.path for film in filmed])
    names = _names(folder, [film.path for film in filmed], copy)
    position = tuple(answers.get(name) for name in POSITION)
    draft = Draft(
        name=answers.get("name") or folder.resolve().name,
        clips=[
            DraftClip(name, answers.get(f"setup {number}") or "setup 1", film.about)
            for number, (name, film) in enumerate(zip(names, filmed, strict=True))
        ],
        filmed=answers.get("date") or _day(filmed),
        ball=answers.get("ball") or "tennis",
        values={key: value for key, value in answers.items() if "." in key and value is not None},
        position_m=None if None in position else position,  # type: ignore[arg-type]
        notes=answers.get("notes") or "",
    )
    if copy:
        _copy([film.path for film in filmed], [folder / name for name in names])
    put_in_place(folder, {SESSION_FILE: draft_toml(draft).encode("utf-8")})
    read_session(folder)
    return path


def _names(folder: Path, clips: Sequence[Path], copy: bool) -> list[str]:
    """Return the clips as ``session.toml`` names them."""
    if copy:
        names = [f"{CLIPS}/{clip.name}" for clip in clips]
        if len(set(names)) < len(names):
            raise InputError("two clips have the same name", where="--copy", remedy="rename one")
        return names
    names = []
    for clip in clips:
        try:
            names.append(Path(os.path.relpath(clip.resolve(), folder.resolve())).as_posix())
        except ValueError:
            raise InputError(
                "is on another drive than the session", where=str(clip), remedy="add --copy"
            ) from None
    return names


def _copy(sources: Sequence[Path], targets: Sequence[Path]) -> None:
    for target in targets:
        if target.exists():
            raise InputError("is there already", where=str(target), remedy="remove or rename it")
    for source, target in zip(sources, targets, strict=True):
        part = target.with_name(f"{target.name}.part")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, part)
            part.replace(target)
        except OSError as error:
            part.unlink(missing_ok=True)
            reason = (error.strerror or "unknown").lower()
            raise InputError(f"cannot be written ({reason})", where=str(target)) from None


def _day(filmed: Sequence[Film]) -> date | None:
    days = [film.origin.filmed.date() for film in filmed if film.origin.filmed is not None]
    return min(days, default=None)


def left_out(answers: Mapping[str, Any]) -> str | None:
    """Return what is said where the camera's position was answered in part."""
    given = [name for name in POSITION if answers.get(name) is not None]
    if not given or len(given) == len(POSITION):
        return None
    missing = " and ".join(name for name in POSITION if name not in given)
    return (
        f"The camera's position is left out, because {missing} was not answered; tape it and write "
        "position_m under [camera]."
    )


def _date(text: str) -> date:
    plain = text.strip()
    # With points the day comes first wherever a date is written so.
    found = _DAY_FIRST.fullmatch(plain)
    try:
        if found is not None:
            return date(int(found[3]), int(found[2]), int(found[1]))
        return date.fromisoformat(plain)
    except ValueError:
        raise InputError(f'"{text.strip()}" is no date', remedy="write it as 2026-05-17") from None


def _height_m(text: str) -> float:
    """Return a height above the ground; one that nobody reaches needs its unit."""
    height = length_m(text)
    if height > HIGHEST_M and _BARE.issuperset(text):
        said = text.strip()
        raise InputError(
            f'"{said}" would be {height:g} metres above the ground',
            remedy=f"write its unit too, as {said} cm, or {said} m if it is so high",
        )
    return height


def _ball(text: str) -> str:
    return ball_named(text).name
