"""What was made of the results after the run: a report, films, stills; with what each shows."""

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calibration.errors import typed
from tracker.results.files import json_of

COMPUTED = "computed"
"""Table of the digests' file that lists them."""

PLACE = "{session}"
"""Stands in a command for the session whose results they lie in, wherever that is then."""

SHOWN = 2
"""Files of one command that a sentence names; a still a shot would fill the screen."""


@dataclass(frozen=True)
class Computed:
    """One file that a command made of the results.

    Attributes
    ----------
    made_of : mapping of str to str
        Digest of each of the run's files that it shows, by name; empty for one that is missing.
    command : str
        What makes it again, with `PLACE` for the session.
    """

    made_of: Mapping[str, str]
    command: str

    def holds(self, digest_of: Callable[[str], str | None]) -> bool:
        """Say whether it shows the results whose files have these digests."""
        return all((digest_of(name) or "") == digest for name, digest in self.made_of.items())

    def document(self) -> dict[str, object]:
        """Return it as the digests' file holds it."""
        return {"made_of": dict(self.made_of), "command": self.command}


@dataclass(frozen=True)
class Replaced:
    """What became of the earlier results.

    Attributes
    ----------
    edited : tuple of str
        Names under which files that a person had edited were kept.
    gone : mapping of str to str
        What showed other rows and was removed: the command that makes each again, by name.
    """

    edited: tuple[str, ...] = ()
    gone: Mapping[str, str] = field(default_factory=dict)


def content_digest(name: str, content: bytes) -> str:
    """Return the SHA-256 of what a file of the results states.

    Which pictures lie beside `shots.json` is no part of it: ``--explain`` draws more of the same.
    """
    if name.endswith(".json"):
        try:
            document = json.loads(content)
            document.pop("pictures", None)
            content = json.dumps(document, sort_keys=True).encode("utf-8")
        except (ValueError, AttributeError, RecursionError):
            pass  # unreadable, so only the same bytes state the same
    return hashlib.sha256(content).hexdigest()


def stated_by(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the `content_digest` of files in a folder by name, empty for one that is missing."""
    paths = {name: folder / name for name in names}
    return {
        name: content_digest(name, path.read_bytes()) if path.is_file() else ""
        for name, path in paths.items()
    }


def computed_of(digests: Path) -> dict[str, Computed]:
    """Return what is listed as made of the results, by name; nothing where it cannot be read."""
    try:
        return {
            str(name): Computed(
                {str(of): str(digest) for of, digest in each["made_of"].items()},
                str(each["command"]),
            )
            for name, each in json_of(digests).get(COMPUTED, {}).items()
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def command_of(verb: str, others: Iterable[Path] = (), options: str = "") -> str:
    """Return the command that makes a file of a session's results again.

    Parameters
    ----------
    verb : str
    others : iterable of Path
        Further sessions that it shows.
    options : str
    """
    places = " ".join([PLACE, *(typed(each.absolute()) for each in others)])
    return f"lobmeter {verb} {places} {options}".rstrip()


def gone_note(gone: Mapping[str, str], place: Path) -> str:
    """Return which files went with the rows that they showed, and what makes them again.

    Parameters
    ----------
    gone : mapping of str to str
        As in `Replaced`.
    place : Path
        The session, as its person writes it.
    """
    by_command: dict[str, list[str]] = {}
    for name, command in gone.items():
        by_command.setdefault(command, []).append(name)
    parts = [
        f"{_listed(names)} (again: {command.replace(PLACE, typed(place))})"
        for command, names in by_command.items()
    ]
    return f"The results changed, so what was made of the earlier ones is gone: {'; '.join(parts)}"


def _listed(names: list[str]) -> str:
    if len(names) <= SHOWN + 1:
        return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
    return f"{', '.join(names[:SHOWN])} and {len(names) - SHOWN} more"
