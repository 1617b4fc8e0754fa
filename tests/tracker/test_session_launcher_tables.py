"""The launcher's tables in ``session.toml``: fields, types and ranges, in one place."""

from pathlib import Path

import pytest

from calibration.errors import InputErrors
from tracker.launcher.fields import CHOICES, NUMBERS
from tracker.session import read_session

HEAD = """[release]
height_m = 0.8
[[setup]]
name = "140 mm wheels"
"""
GOOD = """[setup.wheel]
diameter_mm = 140.0
mass_g = 210.0
"""


def read(folder: Path, tables: str):
    (folder / "session.toml").write_text(HEAD + tables, encoding="utf-8")
    return read_session(folder, filmed=False)


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        (GOOD + 'kind = "square"\n', '"disc", "ring"'),
        (GOOD + 'colour = "red"\n', "colour"),
        (GOOD + 'width_mm = "20 mm"\n', "write 20, without quotes"),
        (GOOD + "width_mm = nan\n", "out of range"),
        (GOOD + "width_mm = true\n", "not a number"),
        (GOOD + "width_mm = -3.0\n", "give 1 to 1000"),
        (GOOD + "mass_u_g = -3.0\n", "give at least 0"),
        (GOOD + "[setup.grip]\nfriction = 0.0\n", "give 0.02 to 3"),
        (GOOD + "[setup.hopper]\nballs = 30\n", "hopper"),
    ],
)
def test_a_fault_is_one_sentence_with_its_line(tmp_path: Path, tables: str, words: str) -> None:
    with pytest.raises(InputErrors) as caught:
        read(tmp_path, tables)
    (sentence,) = caught.value.sentences()
    assert words in sentence
    assert "line " in sentence


def test_every_field_of_the_launcher_is_read(tmp_path: Path) -> None:
    tables: dict[str, list[str]] = {}
    for number in NUMBERS:
        value = number.default or max(number.low, 1.0)
        tables.setdefault(number.table, []).append(f"{number.name} = {float(value)}")
        tables[number.table].append(f"{number.u_name} = 0.5")
    for choice in CHOICES:
        tables.setdefault(choice.table, []).append(f'{choice.name} = "{choice.words[-1]}"')
    text = "\n".join(f"[setup.{name}]\n" + "\n".join(lines) for name, lines in tables.items())
    (setup,) = read(tmp_path, text + "\n").setups
    assert {name: len(fields) for name, fields in setup.parts.items()} == {
        name: len(lines) for name, lines in tables.items()
    }
