"""What is expensive to draw or measure is made once a run, however many workers ask for it.

`LOBMETER_TESTS_SHARED` names a folder in which several runs over the same code share it.
"""

import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import pytest
from filelock import FileLock

Made = TypeVar("Made")


def _of_the_run(factory: pytest.TempPathFactory, name: str) -> Path:
    """Return the folder of that name which all workers of this run share."""
    base = factory.getbasetemp()
    # pytest-xdist gives each worker a folder within that of the run.
    root = base.parent if base.name.startswith("popen-") else base
    folder = Path(os.environ.get("LOBMETER_TESTS_SHARED") or root / "shared") / name
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def folder_of(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """Return a folder that `make` filled once in this run; nobody may write in it afterwards.

    `name` is that of the folder, one a content. A test that changes files copies them first.
    """
    folder = _of_the_run(factory, name)
    with FileLock(folder / "lock"):
        if not (folder / "made").exists():
            make(folder / "content")
            (folder / "made").touch()
    return folder / "content"


def value_of(factory: pytest.TempPathFactory, name: str, make: Callable[[], Made]) -> Made:
    """Return what `make` gives, computed once in this run and kept as a pickle."""
    folder = _of_the_run(factory, name)
    with FileLock(folder / "lock"):
        if not (folder / "value").exists():
            (folder / "value").write_bytes(pickle.dumps(make()))
        kept: Any = pickle.loads((folder / "value").read_bytes())
    return kept
