"""Plain values of options reach a command as they are; all others by typer, with its sentences."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Annotated, Any

import pytest
import typer

from tracker.cli.conversion import with_plain_values

GIVEN: dict[str, Any] = {}


def shoot(
    where: Annotated[Path, typer.Option()],
    unseen: Annotated[Path | None, typer.Option(exists=True)] = None,
    name: Annotated[str, typer.Option()] = "lane",
    wheel: Annotated[float | None, typer.Option()] = None,
    every: Annotated[float, typer.Option(min=0.1)] = 2.0,
    most: Annotated[int, typer.Option(min=1)] = 40,
    also: Annotated[list[str] | None, typer.Option()] = None,
    place: Annotated[tuple[float, float] | None, typer.Option()] = None,
    folders: Annotated[list[Path] | None, typer.Argument()] = None,
) -> None:
    GIVEN.update(name=name, wheel=wheel, every=every, most=most, also=also)
    GIVEN.update(place=place, folders=folders)
    GIVEN.update(where=where, unseen=unseen)


def outcome(words: list[str], plain: bool) -> tuple[str, dict[str, Any]]:
    """Run the command; return its fault, if any, and what it was given."""
    app = typer.Typer(rich_markup_mode=None, add_completion=False)
    app.command()(shoot)
    command: Any = typer.main.get_command(app)
    GIVEN.clear()
    try:
        (with_plain_values(command) if plain else command).main(words, standalone_mode=False)
    except typer.BadParameter as error:
        return error.format_message(), {}
    return "", dict(GIVEN)


@pytest.mark.parametrize(
    "line",
    [
        "",
        "--wheel 140",
        "--wheel -0.5 --name=field",
        "--wheel 1e2",
        "--wheel 140,5",
        "--wheel feet",
        "--every 0.01",
        "--every 7 --most 3",
        "--most 0",
        "--most 2.5",
        "--place 3 4.5",
        "--also one --also two",
        "one two --name 3",
        "one/../two ./three --unseen nowhere",
        "--unseen .",
        "odd\udcff",
        "--where=",
        "--where nowhere/ --where odd\udcff",
    ],
)
def test_values_and_sentences_are_those_of_the_library(line: str) -> None:
    line = line if "--where" in line else f"{line} --where field"
    assert outcome(line.split(), plain=True) == outcome(line.split(), plain=False)


def test_what_is_required_is_asked_for_by_the_library() -> None:
    refused, _ = outcome([], plain=True)
    assert refused
    assert refused == outcome([], plain=False)[0]


def test_a_path_that_cannot_be_read_is_refused_by_the_library(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    refused, _ = outcome(["--where", str(tmp_path)], plain=True)
    assert "not readable" in refused


def test_the_list_of_sessions_loads_no_library_for_its_options(tmp_path: Path) -> None:
    """Loading either takes as long as the answer."""
    code = (
        "import sys\n"
        "from tracker.cli import main\n"
        "try: main()\n"
        "except SystemExit: print(*sorted({'pydantic', 'scipy'} & set(sys.modules)), 'end')"
    )
    book = str(tmp_path / "book.sqlite3")
    words = ["log", "list", "--db", book, "--wheel", "140"]
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True
    )
    assert done.stdout.split()[-1:] == ["end"]
    assert "pydantic" not in done.stdout and "scipy" not in done.stdout
