"""The close sample clip measured once a run, for tests of what comes after a measurement."""

import shutil
from pathlib import Path

import pytest

from tests.faces.test_commands import run
from tests.shared import folder_of

CLOSE = Path(__file__).parents[2] / "sample_clips" / "close"


def measured_close(factory: pytest.TempPathFactory) -> Path:
    """Return a folder with ``lane``, the measured session, and ``cache``, what was kept of it."""

    def make(folder: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("LOBMETER_CACHE", str(folder / "cache"))
            shutil.copytree(CLOSE, folder / "lane")
            assert run("measure", str(folder / "lane"))[0] in (0, 1)

    return folder_of(factory, "review-close", make)
