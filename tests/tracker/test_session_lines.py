"""The line of every key of a TOML text, against a marker written into the text itself."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.session.lines import line_of, lines_of_keys

TRICKY = '''\
title = "a # is no comment here"   # but this is
long = """
[not.a.table]
key = 1
"""
raw = \'\'\'
[[nor]] this
\'\'\'
many = [
  1.5, # comment ]
  { deep = 1, deeper = { end = [2, 3] } },
]
"quoted key" = 1
'single [x]' = 2
a.b.c = 3

[table]
x = 1979-05-27T07:32:00Z
[table.inner]
y = -1e+5

[[list]]
z = 1
[list.part]
w = 2
[[list]]
z = 3
[[list.deep]]
v = 4
[[list.deep]]
v = 5
[list.part]
w = 6
'''


def every_place(value: object, place: tuple = ()) -> list[tuple]:
    if isinstance(value, dict):
        inner = [every_place(one, (*place, key)) for key, one in value.items()]
    elif isinstance(value, list):
        inner = [every_place(one, (*place, index)) for index, one in enumerate(value)]
    else:
        inner = []
    return [place, *(one for part in inner for one in part)]


def test_every_key_of_a_tricky_text_has_its_line() -> None:
    places = lines_of_keys(TRICKY)
    parsed = tomllib.loads(TRICKY)
    assert set(places) == {place for place in every_place(parsed) if place}
    lines = TRICKY.split("\n")
    for place, line in places.items():
        name = next(step for step in reversed(place) if isinstance(step, str))
        if not isinstance(place[-1], int):
            assert name in lines[line - 1], (place, lines[line - 1])
    assert places["many", 1, "deeper", "end"] == 11
    assert places["list", 1, "deep", 1, "v"] == 31
    assert places["list", 1, "part", "w"] == 33


def test_a_place_that_is_not_written_has_the_line_of_what_is_around_it() -> None:
    places = lines_of_keys("[a]\nb = 1\n[[c]]\nd = 1\n")
    assert line_of(places, ("a", "missing")) == 1
    assert line_of(places, ("c", 0, "missing")) == 3
    assert line_of(places, ("missing",)) is None


KEYS = st.text("abcdefgh_-", min_size=1, max_size=6)
VALUES = st.sampled_from(
    ["1", '"x = 1"', "'[t]'", "[1,\n 2]", '"""\n[t]\nk = 1\n"""', "{ q = 1 }", "1.5 # k = 2"]
)


@given(st.dictionaries(KEYS, st.dictionaries(KEYS, VALUES, max_size=4), max_size=4))
def test_lines_agree_with_the_text_that_was_built(tables: dict[str, dict[str, str]]) -> None:
    text, wanted = "", {}
    for table, pairs in tables.items():
        wanted[(table,)] = text.count("\n") + 1
        text += f"[{table}]\n"
        for key, value in pairs.items():
            wanted[(table, key)] = text.count("\n") + 1
            text += f"{key} = {value}\n"
    tomllib.loads(text)
    found = lines_of_keys(text)
    assert {place: found[place] for place in wanted} == wanted


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment", "a = 1"])
def test_small_texts(text: str) -> None:
    assert set(lines_of_keys(text)) == {(key,) for key in tomllib.loads(text)}
