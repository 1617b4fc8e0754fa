"""Numbers with a decimal comma on the command line."""

import pytest
from typer.testing import CliRunner

from tracker.cli.program import program


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("still a.mp4 --at 1,5", "--at: 1,5 has a decimal comma; write 1.5."),
        ("compare evening --worth=-0,25", "--worth: -0,25 has a decimal comma; write -0.25."),
        ("review evening --landing-m 12.5 1,5", "--landing-m: 1,5 has a decimal comma; write 1.5."),
    ],
)
def test_a_decimal_comma_is_one_sentence(words: str, said: str) -> None:
    done = CliRunner().invoke(program, words.split())
    assert (done.exit_code, done.stderr) == (2, f"{said}\n")


def test_another_option_is_not_blamed() -> None:
    done = CliRunner().invoke(program, ["review", "evening", "--at", "soon", "--px-u", "1,5"])
    assert done.exit_code == 2
    assert "comma" not in done.stderr
