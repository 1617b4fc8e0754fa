"""Ways to spoil a text or a file, drawn from a generator."""

import random
import re

HOSTILE = (
    "nan", "-nan", "inf", "-inf", "1e999", "-1e308", "0", "-1", "1e-320", "true", '""', "[]", "{}",
    "[[]]", "9" * 400, "9" * 5000, "0x7fffffffffffffff", "1979-05-27T07:32:00Z", '"🎾"',
    '"\\u0000"', '"' + "a" * 3000 + '"', '"../../../../etc"', '"/dev/zero"', '".."', '"CON"',
    '"a\\nb"', "[" * 300, "{a = " * 100, '"=1+1"', '"\u202e"', "null", "None", "''", '"""', "#",
    "\x00", "\ufeff", ",", "=",
)  # fmt: skip
"""Values that a program may stumble over: numbers without end, text that is no name, deep nests."""


def spoilt_text(text: str, rng: random.Random) -> str:
    """Spoil a text once to four times."""
    for _ in range(rng.randint(1, 4)):
        text = rng.choice(_TEXT)(text, rng)
    return text


def spoilt_bytes(data: bytes, rng: random.Random) -> bytes:
    """Spoil a file once to six times."""
    for _ in range(rng.randint(1, 6)):
        data = rng.choice(_BYTES)(data, rng)
    return data


def _another_value(text: str, rng: random.Random) -> str:
    """Put something else in the place of a value or of a cell."""
    places = list(re.finditer(r"(?<=[=,:\[] )[^,\n\]]+|(?<=,)[^,\n]+", text))
    if not places:
        return text + rng.choice(HOSTILE)
    place = rng.choice(places)
    return text[: place.start()] + rng.choice(HOSTILE) + text[place.end() :]


def _another_name(text: str, rng: random.Random) -> str:
    """Change, double or drop a letter of a word."""
    words = list(re.finditer(r"[a-z_]{3,}", text))
    if not words:
        return text
    word = rng.choice(words)
    at = rng.randrange(word.start(), word.end())
    return text[:at] + rng.choice(["", text[at] * 2, "x", "_", "é"]) + text[at + 1 :]


def _lines_moved(text: str, rng: random.Random) -> str:
    """Drop, double or move a line."""
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    line = lines.pop(at)
    for _ in range(rng.randint(0, 2)):
        lines.insert(rng.randrange(len(lines) + 1), line)
    return "\n".join(lines)


def _cut(text: str, rng: random.Random) -> str:
    """Cut the text off."""
    return text[: rng.randrange(len(text) + 1)]


def _many(text: str, rng: random.Random) -> str:
    """Say a table very often."""
    tables = re.findall(r"\[\[\w+\]\]\n(?:[^\[]+\n)+", text)
    return text + "\n" + rng.choice(tables) * rng.choice([3, 40, 300]) if tables else text * 2


def _a_letter(text: str, rng: random.Random) -> str:
    """Put any letter anywhere."""
    at = rng.randrange(len(text) + 1)
    return (
        text[:at] + chr(rng.choice([0, 9, 10, 34, 39, 92, 127, 160, 0x2028, 0x1F3BE])) + text[at:]
    )


_TEXT = (_another_value, _another_value, _another_name, _lines_moved, _cut, _many, _a_letter)


def _flipped(data: bytes, rng: random.Random) -> bytes:
    """Change single bytes, most of them in the boxes' heads where sizes and counts stand."""
    spoilt = bytearray(data)
    for _ in range(rng.choice([1, 3, 30]) if spoilt else 0):
        far = len(spoilt) if rng.random() < 0.5 else min(len(spoilt), 1200)
        at = rng.randrange(far) if rng.random() < 0.5 else len(spoilt) - 1 - rng.randrange(far)
        spoilt[at] = rng.choice([0, 1, 127, 128, 255, rng.randrange(256)])
    return bytes(spoilt)


def _shortened(data: bytes, rng: random.Random) -> bytes:
    """Cut the end off, or a piece out."""
    at = rng.randrange(len(data) + 1)
    return data[:at] + (b"" if rng.random() < 0.5 else data[at + rng.randint(1, 5000) :])


def _blanked(data: bytes, rng: random.Random) -> bytes:
    """Overwrite a stretch."""
    at, long = rng.randrange(len(data) + 1), rng.choice([4, 64, 4096])
    return data[:at] + bytes([rng.choice([0, 255])]) * long + data[at + long :]


def _large(data: bytes, rng: random.Random) -> bytes:
    """Let a four-byte number, such as a size, a rate or a count, claim something else."""
    if len(data) < 8:
        return data
    at = rng.randrange(len(data) - 4)
    claim = rng.choice([0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, rng.getrandbits(32)])
    return data[:at] + claim.to_bytes(4, "big") + data[at + 4 :]


def _box_moved(data: bytes, rng: random.Random) -> bytes:
    """Drop or double a box of an MP4 by the name that it carries."""
    names = [
        b"mvhd",
        b"tkhd",
        b"elst",
        b"stts",
        b"ctts",
        b"stsz",
        b"stco",
        b"stsd",
        b"mdhd",
        b"avcC",
    ]
    at = data.find(rng.choice(names)) - 4
    if at < 0:
        return data
    end = at + int.from_bytes(data[at : at + 4], "big")
    return data[:at] + data[at:end] * rng.choice([0, 2]) + data[end:]


_BYTES = (_flipped, _flipped, _shortened, _blanked, _large, _large, _box_moved)
