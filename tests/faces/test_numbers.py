"""Numbers on the command line that are none, out of range, or have a decimal comma."""

import pytest
from typer.testing import CliRunner

from tracker.cli.program import program


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("still a.mp4 --at 1,5", "--at: 1,5 has a decimal comma; write 1.5."),
        ("compare evening --worth=-0,25", "--worth: -0,25 has a decimal comma; write -0.25."),
        ("review evening --landing-m 12.5 1,5", "--landing-m: 1,5 has a decimal comma; write 1.5."),
        ("measure a --jobs two", '--jobs: "two" is no whole number; write one, for instance 2.'),
        ("measure a --jobs=2.5", '--jobs: "2.5" is no whole number; write one, for instance 2.'),
        ("measure a --jobs -1", "--jobs: -1 is too small; write 0 or more."),
        ("log list --most 0", "--most: 0 is too small; write 1 or more."),
        (
            "log show first",
            'NO: "first" is no number of a session; take it from the first column of: '
            "lobmeter log list.",
        ),
        ("compare a --worth x", '--worth: "x" is no number; write one, for instance 2.5.'),
        (
            "review a --landing-m 3 b",
            '--landing-m: "b" is no number; write one, for instance 2.5.',
        ),
    ],
)
def test_a_number_that_is_refused_is_one_sentence(words: str, said: str) -> None:
    done = CliRunner().invoke(program, words.split())
    assert (done.exit_code, done.stderr) == (2, f"{said}\n")


def test_another_option_is_not_blamed() -> None:
    done = CliRunner().invoke(program, ["review", "evening", "--at", "soon", "--px-u", "1,5"])
    assert done.exit_code == 2
    assert "comma" not in done.stderr
