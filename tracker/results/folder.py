"""The results folder of a session: replaced as a whole, and mended after an interruption.

A run writes a complete new folder beside the earlier one and then switches the name:

1. ``results.lobmeter-part`` is filled and flushed;
2. it is renamed to ``results.lobmeter-new``: from here on it is complete;
3. ``results`` is renamed to ``results.lobmeter-old``: from here on the new results count;
4. ``results.lobmeter-new`` is renamed to ``results``;
5. ``results.lobmeter-old`` is removed.

Whenever a run is killed, `recover` ends what it began: where ``results`` is still there, it stays,
with whatever a person did to it since; else the new results get its name. No step needs more than
renaming a folder, so it works on Windows too.
"""

import hashlib
import json
import logging
import shutil
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError
from tracker.results.alone import PATIENCE_S, alone
from tracker.results.computed import (
    COMPUTED,
    Computed,
    Replaced,
    computed_of,
    content_digest,
    gone_note,
    stated_by,
)
from tracker.results.digests import program_version, sha256_of
from tracker.results.files import (
    STAGING,
    cannot_write,
    copy_file,
    json_of,
    put_in_place,
    write_flushed,
)

LOG = logging.getLogger(__name__)

RESULTS = "results"
"""Name of the folder inside a session's folder that holds what was computed."""

DIGESTS = "digests.json"
"""File in the results that lists what the run wrote, each with its SHA-256."""

NOTE = "README.txt"
NOTE_TEXT = """\
lobmeter measure computes every file here anew and replaces it.
Write your own decisions (a shot rejected or accepted, another setup) with
lobmeter review, or into review.toml beside session.toml: they are kept.
Your own files in this folder stay as they are. What lobmeter report and lobmeter
overlay made stays while the results stay the same, and goes when they change.
"""


@dataclass(frozen=True)
class _Names:
    """The names that a results folder has while it is replaced."""

    folder: Path

    @property
    def part(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.lobmeter-part")

    @property
    def new(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.lobmeter-new")

    @property
    def old(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.lobmeter-old")


def folder_of(session: Path, bare: str | None = None) -> Path:
    """Return the results folder of a session's folder, or of the bare video file of that name.

    What an interrupted run left there is ended first.
    """
    folder = session / (RESULTS if bare is None else f"{bare}-{RESULTS}")
    recover(folder)
    return folder


def recover(folder: Path) -> None:
    """End what an interrupted run began, so that the results are whole.

    Parameters
    ----------
    folder : Path
        The results folder, there or not.

    Raises
    ------
    InputError
        Where a folder cannot be renamed.
    """
    names = _Names(folder.resolve())
    if any(place.exists() for place in (names.part, names.new, names.old)):
        with _locked(folder):
            _recover(names)
        LOG.info("%s: an interrupted run was ended", folder)


def replace_results(
    folder: Path, contents: Mapping[str, bytes], place: Path | None = None
) -> Replaced:
    """Put the results of a run in place of the earlier ones, all of them or none.

    Files that the earlier run wrote go; those that a person changed since are kept under another
    name; all others stay. What a command made of the results stays where the new ones state the
    same, and goes where they do not.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    contents : mapping
        Bytes of each file by its name.
    place : Path, optional
        The session as its person writes it, for the commands in the folder's note; the folder
        around the results when left out.

    Returns
    -------
    Replaced
        What was kept under another name, and what went.

    Raises
    ------
    InputError
        Where the folder cannot be written or renamed.
    """
    names = _Names(folder.resolve())
    with _locked(folder):
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            _recover(names)
            names.part.mkdir()
        except OSError as error:
            raise cannot_write(folder, error) from None
        try:
            staying, gone = _computed(names, contents)
            note = f"\n{gone_note(gone, place or folder.parent)}\n" if gone else ""
            whole = {**contents, NOTE: f"{NOTE_TEXT}{note}".encode()}
            edited = _fill(names, whole, staying)
            names.part.rename(names.new)
            _switch(names)
        except OSError as error:
            shutil.rmtree(names.part, ignore_errors=True)
            if folder.exists():
                shutil.rmtree(names.new, ignore_errors=True)
            raise cannot_write(folder, error) from None
        except InputError:
            shutil.rmtree(names.part, ignore_errors=True)
            raise
    LOG.info("%s: results written", folder)
    return Replaced(edited, gone)


def _computed(
    names: _Names, contents: Mapping[str, bytes]
) -> tuple[dict[str, Computed], dict[str, str]]:
    """Return what was made of the earlier results: what shows the new ones too, and what goes."""
    new = {name: content_digest(name, content) for name, content in contents.items()}
    listed = {
        name: one
        for name, one in computed_of(names.folder / DIGESTS).items()
        if name not in contents and (names.folder / name).is_file()
    }
    staying = {name: one for name, one in listed.items() if one.holds(new.get)}
    return staying, {name: one.command for name, one in listed.items() if name not in staying}


def written_digests(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of each file as the run that made the results wrote it."""
    try:
        document = json_of(folder / DIGESTS)
        return {str(name): str(digest) for name, digest in document["files"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def replaced_meanwhile(folder: Path) -> InputError:
    """Return the sentence for results that another run replaced while a command drew from them."""
    return InputError(
        "the session was measured again meanwhile, by another program",
        where=str(folder),
        remedy="start this command again",
    )


def list_computed(
    folder: Path, files: Iterable[str], made_of: Mapping[str, str], command: str
) -> None:
    """List files that a command computed from the results, so that they go when these change.

    A report or a film of earlier shots says nothing of the new ones. One that a person edited
    since is kept under another name, as all that a run wrote.

    Parameters
    ----------
    folder : Path
        The results folder; one that no run made lists nothing.
    files : iterable of str
        Names within it.
    made_of : mapping of str to str
        The run's files that they show, each with its digest before it was read
        (`tracker.results.computed.stated_by`).
    command : str
        What makes them again (`tracker.results.computed.command_of`).

    Raises
    ------
    InputError
        Where the list cannot be written, or another run replaced the results meanwhile.
    """
    names = tuple(files)
    with _locked(folder):
        there = all((folder / name).is_file() for name in names)
        if not there or stated_by(folder, made_of) != dict(made_of):
            raise replaced_meanwhile(folder)
        if (folder / DIGESTS).is_file():
            digests = written_digests(folder) | {name: sha256_of(folder / name) for name in names}
            new = dict.fromkeys(names, Computed(made_of, command))
            listed = computed_of(folder / DIGESTS) | new
            put_in_place(folder, {DIGESTS: _digests_text(digests, listed)})


def _digests_text(digests: Mapping[str, str], computed: Mapping[str, Computed]) -> bytes:
    document: dict[str, object] = {"lobmeter": program_version(), "files": digests}
    if computed:
        document[COMPUTED] = {name: each.document() for name, each in computed.items()}
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def _fill(
    names: _Names, contents: Mapping[str, bytes], staying: Mapping[str, Computed]
) -> tuple[str, ...]:
    """Write the new folder and carry over what is not of the earlier run, or shows the new one."""
    for name, content in contents.items():
        write_flushed(names.part / name, content, shown=names.folder / name)
    digests = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    earlier = written_digests(names.folder)
    digests |= {name: earlier[name] for name in staying if name in earlier}
    text = _digests_text(digests, staying)
    write_flushed(names.part / DIGESTS, text, shown=names.folder / DIGESTS)
    if not names.folder.exists():
        return ()
    edited = []
    for path in sorted(names.folder.iterdir()):
        if path.name == DIGESTS or path.name.startswith(STAGING):
            continue
        if path.is_dir():
            shutil.copytree(path, names.part / path.name, copy_function=_copy)
        elif path.name in staying or (path.name not in earlier and path.name not in contents):
            copy_file(path, names.part / path.name)
        elif earlier.get(path.name) != sha256_of(path):
            kept = _free_name(path, names)
            copy_file(path, kept)
            edited.append(kept.name)
    return tuple(edited)


def _copy(source: str, target: str) -> None:
    copy_file(Path(source), Path(target))


def _free_name(path: Path, names: _Names) -> Path:
    """Return the first free name for an edited copy of a file."""
    number = 1
    while True:
        name = f"{path.stem}-edited-{number}{path.suffix}"
        if not (names.part / name).exists() and not (names.folder / name).exists():
            return names.part / name
        number += 1


def _switch(names: _Names) -> None:
    """Give the complete new folder the name of the results."""
    if names.folder.exists():
        names.folder.rename(names.old)
    try:
        names.new.rename(names.folder)
    except OSError:
        if names.old.exists():
            names.old.rename(names.folder)
        raise
    shutil.rmtree(names.old, ignore_errors=True)


def _recover(names: _Names) -> None:
    shutil.rmtree(names.part, ignore_errors=True)
    try:
        if not names.folder.exists():
            for complete in (names.new, names.old):
                if complete.exists():
                    complete.rename(names.folder)
                    break
    except OSError as error:
        raise cannot_write(names.folder, error) from None
    if names.folder.exists():
        shutil.rmtree(names.new, ignore_errors=True)
        shutil.rmtree(names.old, ignore_errors=True)


def _locked(folder: Path) -> AbstractContextManager[None]:
    """Hold the results of a session against another run on this machine."""
    return alone(folder, "another run is writing these results", PATIENCE_S)
