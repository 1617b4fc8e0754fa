"""Options that are the fields of a dataclass."""

from dataclasses import dataclass
from typing import Annotated

import pytest
import typer
from typer.testing import CliRunner

from tests.faces.test_commands import run
from tracker.cli.options import grouped


@dataclass(frozen=True)
class Weather:
    wind: Annotated[float, typer.Option("--wind", metavar="M/S", help="Along the line.")] = 0.5
    gusty: Annotated[bool, typer.Option("--gusty", help="Not steady.")] = False


def program(seen: list[object]) -> typer.Typer:
    made = typer.Typer()

    @made.command()
    @grouped
    def throw(
        ball: Annotated[str, typer.Argument(metavar="BALL")],
        weather: Weather,
        height: Annotated[float, typer.Option("--height")] = 0.8,
    ) -> None:
        """Throw a ball."""
        seen.append((ball, weather, height))

    return made


def test_each_field_is_an_option_with_its_default() -> None:
    seen: list[object] = []
    for words in (["tennis"], ["golf", "--gusty", "--wind", "2", "--height", "1"]):
        done = CliRunner().invoke(program(seen), words)
        assert done.exit_code == 0, done.output
    assert seen == [("tennis", Weather(), 0.8), ("golf", Weather(2.0, True), 1.0)]


def test_help_is_that_of_the_command_and_its_fields() -> None:
    shown = CliRunner().invoke(program([]), ["--help"]).output
    assert "Throw a ball." in shown
    assert "--wind" in shown and "Along the line." in shown and "--gusty" in shown
    assert "weather" not in shown.lower()


@pytest.mark.parametrize("words", [(), ("log",)])
def test_no_line_of_the_list_of_commands_is_cut_off(words: tuple[str, ...]) -> None:
    code, shown, _ = run(*words, "--help")
    assert code == 0 and "..." not in shown.partition("Commands:")[2]
