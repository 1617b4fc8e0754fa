"""Which clip shows which setup, as changes of ``session.toml``."""

from collections.abc import Mapping
from itertools import takewhile
from pathlib import PurePosixPath

from tracker.session import FieldChange, Session


def by_file_names(session: Session) -> dict[str, str]:
    """Return, by the clip's file, a setup for every clip that is called as its file is."""
    return {clip.file: PurePosixPath(clip.file).stem for clip in session.clips}


def alike_below(session: Session, file: str) -> tuple[str, ...]:
    """Return the clips after one, by file, up to the first that shows another setup than it."""
    files = [clip.file for clip in session.clips]
    at = files.index(file)
    mine = session.clips[at].setup
    below = takewhile(lambda clip: clip.setup == mine, session.clips[at + 1 :])
    return tuple(clip.file for clip in below)


def shown(session: Session, wanted: Mapping[str, str]) -> list[FieldChange]:
    """Return the changes that say which setup clips show.

    A setup whose clips all get the same new name is renamed, and keeps what is stated of its
    launcher. One that nothing is stated of and no clip shows any more goes.

    Parameters
    ----------
    session : Session
    wanted : mapping of str to str
        Setups' names by clips' files; the other clips keep theirs.
    """
    names = [setup.name for setup in session.setups]
    changes: list[FieldChange] = []
    new = [name for name in dict.fromkeys(wanted.values()) if name not in names]
    gone: list[int] = []
    for at, setup in enumerate(session.setups):
        mine = [clip for clip in session.clips if clip.setup == setup.name]
        targets = {wanted.get(clip.file, setup.name) for clip in mine}
        if mine and len(targets) == 1 and targets <= set(new):
            (target,) = targets
            new.remove(target)
            changes.append(FieldChange(("setup", at, "name"), target))
        elif mine and setup.name not in targets | set(wanted.values()) and not setup.parts:
            gone.append(at)
    changes += [
        FieldChange(("clip", number, "setup"), wanted[clip.file])
        for number, clip in enumerate(session.clips)
        if wanted.get(clip.file, clip.setup) != clip.setup
    ]
    changes += [
        FieldChange(("setup", len(names) + number), {"name": name})
        for number, name in enumerate(new)
    ]
    return changes + [FieldChange(("setup", at), None) for at in reversed(gone)]
