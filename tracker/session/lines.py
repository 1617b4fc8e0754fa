"""On which line of a TOML text each key stands: tomllib reads values but keeps no places."""

import re
from bisect import bisect_right
from contextlib import suppress
from dataclasses import dataclass

Step = str | int
Place = tuple[Step, ...]

_TOKEN = re.compile(
    r"""(?P<comment>\#[^\n]*)
      | (?P<long>\"\"\"(?:\\.|[^\\])*?\"{3,5}|'''.*?'{3,5})
      | (?P<text>"(?:\\.|[^"\\\n])*"|'[^'\n]*')
      | (?P<word>[A-Za-z0-9_+:-]+)
      | (?P<mark>[\[\]{}=.,])
      | (?P<end>\n)
    """,
    re.VERBOSE | re.DOTALL,
)


def lines_of_keys(text: str) -> dict[Place, int]:
    """Return the line, counted from 1, of every table and key of a valid TOML text.

    Parameters
    ----------
    text : str
        Text that `tomllib` accepts.

    Returns
    -------
    dict
        Keyed by the keys and indices that lead to the value: ``("marker", 2, "pixel")``.
    """
    return _Scanner(text).scan()


def line_of(places: dict[Place, int], place: Place) -> int | None:
    """Return the line of a place, or that of the nearest table around it."""
    while place:
        if place in places:
            return places[place]
        place = place[:-1]
    return None


@dataclass(frozen=True)
class Repeat:
    """A field or table that stands twice.

    Attributes
    ----------
    name : str
        With dots between its parts.
    first, again : int
        Lines, counted from 1.
    is_table : bool
    """

    name: str
    first: int
    again: int
    is_table: bool


def repeated(text: str) -> Repeat | None:
    """Return the last field or table of a text that stands twice, or None.

    Parameters
    ----------
    text : str
        TOML up to the end of the line of which `tomllib` complains that it repeats one.
    """
    scanner = _Scanner(text)
    with suppress(IndexError):  # where the text ends within a value
        scanner.scan()
    return scanner.repeats[-1] if scanner.repeats else None


class _Scanner:
    """Walks the tokens of a TOML text; the state is where it stands."""

    def __init__(self, text: str) -> None:
        starts = [0] + [match.end() for match in re.finditer("\n", text)]
        self.tokens = [
            (str(match.lastgroup), match.group(), bisect_right(starts, match.start()))
            for match in _TOKEN.finditer(text)
            if match.lastgroup != "comment"
        ]
        self.at = 0
        self.places: dict[Place, int] = {}
        self.counts: dict[Place, int] = {}
        self.repeats: list[Repeat] = []

    def scan(self) -> dict[Place, int]:
        table: Place = ()
        while self.at < len(self.tokens):
            kind, token, line = self.tokens[self.at]
            if kind == "end":
                self.at += 1
            elif token == "[":
                table = self._header(line)
            else:
                self._pair(table)
        return self.places

    def _header(self, line: int) -> Place:
        """Read ``[a.b]`` or ``[[a.b]]`` and return the table that follows."""
        double = self.tokens[self.at + 1][1] == "["
        self.at += 2 if double else 1
        keys = self._keys()
        self.at += 2 if double else 1
        place = self._inside(keys[:-1])
        last: Place = (*place, keys[-1])
        if double:
            index = self.counts.get(last, 0)
            self.counts[last] = index + 1
            self.places.setdefault(last, line)
            last = (*last, index)
        else:
            last = self._inside(keys)
            if last in self.places:
                self.repeats.append(Repeat(".".join(keys), self.places[last], line, True))
        self.places.setdefault(last, line)
        return last

    def _inside(self, keys: list[str]) -> Place:
        """Return the place that keys lead to: the latest element of each array of tables."""
        place: Place = ()
        for key in keys:
            place = (*place, key)
            if place in self.counts:
                place = (*place, self.counts[place] - 1)
        return place

    def _pair(self, table: Place) -> None:
        """Read ``key = value`` inside a table."""
        line = self.tokens[self.at][2]
        keys = self._keys()
        self.at += 1
        place = table
        if (*place, *keys) in self.places:
            self.repeats.append(Repeat(".".join(keys), self.places[*place, *keys], line, False))
        for key in keys:
            place = (*place, key)
            self.places.setdefault(place, line)
        self._value(place)

    def _keys(self) -> list[str]:
        """Read a dotted key."""
        keys = [_bare(self.tokens[self.at][1])]
        self.at += 1
        while self.tokens[self.at][1] == ".":
            keys.append(_bare(self.tokens[self.at + 1][1]))
            self.at += 2
        return keys

    def _value(self, place: Place) -> None:
        """Read one value, however deep, up to the mark or the line's end that closes it."""
        token = self.tokens[self.at][1]
        if token == "[":
            self._members(place, "]")
        elif token == "{":
            self._members(place, "}")
        while self.at < len(self.tokens):
            kind, token, _ = self.tokens[self.at]
            if kind == "end" or token in (",", "]", "}"):
                return
            self.at += 1

    def _members(self, place: Place, closing: str) -> None:
        """Read the members of an array or an inline table."""
        self.at += 1
        index = 0
        while self.tokens[self.at][1] != closing:
            kind, token, line = self.tokens[self.at]
            if kind == "end" or token == ",":
                self.at += 1
            elif closing == "}":
                self._pair(place)
            else:
                self.places.setdefault((*place, index), line)
                self._value((*place, index))
                index += 1
        self.at += 1


def _bare(token: str) -> str:
    """Return a key without its quotes."""
    if token[:1] == "'":
        return token[1:-1]
    if token[:1] == '"':
        return token[1:-1].encode("ascii", "backslashreplace").decode("unicode_escape")
    return token
