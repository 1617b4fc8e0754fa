"""What is printed of results names what is there."""

import json
import sys
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console

from tracker.cli.screen import _as_json, show_causes


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


@pytest.mark.parametrize(("encoding", "plain"), [("utf-8", False), ("cp1252", True)])
def test_data_keeps_its_letters_where_the_output_is_not_in_utf_8(
    monkeypatch: pytest.MonkeyPatch, encoding: str, plain: bool
) -> None:
    """Windows gives a program whose output goes into a file the code page of its country."""
    monkeypatch.setattr(sys, "stdout", TextIOWrapper(BytesIO(), encoding, errors="replace"))
    made = _as_json({"setup": "räder 春"})
    assert json.loads(made) == {"setup": "räder 春"} and made.isascii() is plain
