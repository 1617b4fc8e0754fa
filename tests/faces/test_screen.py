"""What is printed of results names what is there."""

from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console

from tracker.cli.screen import show_causes


@pytest.mark.parametrize("ending", ["explained.jpg", "shot-2-explained.jpg"])
def test_what_was_seen_names_the_picture_that_is_there(tmp_path: Path, ending: str) -> None:
    clip = SimpleNamespace(file="clips/a[1].mp4")
    measured = SimpleNamespace(clip=clip, causes=("one",), notes=["Nothing falls here."])
    session = SimpleNamespace(clips=[clip])
    result: Any = SimpleNamespace(session=session, clips=[measured], folder=tmp_path)
    for name in (f"a[1]-{ending}", f"a1-{ending}", "a[1]-calibration.jpg"):
        (tmp_path / name).touch()
    printed = StringIO()
    show_causes(Console(file=printed, width=500), result)
    said = printed.getvalue().splitlines()
    assert said[1:] == [
        "clips/a[1].mp4: Nothing falls here.",
        f"What was seen: {tmp_path / f'a[1]-{ending}'}",
    ]
