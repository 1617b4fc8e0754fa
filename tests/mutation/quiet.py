"""A process that runs the tests of another checkout without a word."""

import os
import sys
from pathlib import Path


def silenced(root: Path) -> None:
    """Print nothing from now on, and take code and tests from a checkout, without kept bytecode.

    A fault is of the same length and second as the code at times.
    """
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    os.chdir(root)
    sys.path.insert(0, str(root))
    os.environ["PYTHONPATH"] = str(root)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # tests/conftest.py would allow it again
    sys.dont_write_bytecode = True
