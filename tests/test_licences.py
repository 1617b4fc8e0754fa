"""The page of licences lists what is needed, under the licence that each package states."""

import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
ROWS = dict(re.findall(r"^\| ([a-z0-9-]+) \| ([^|]+) \|", PAGE, re.MULTILINE))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NEITHER_RUNS = {"test", "bench", "mutation"}


def needed() -> set[str]:
    """Return the names of what runs with the program: its dependencies and its extras'."""
    extras = PROJECT["optional-dependencies"]
    lists = [extras[name] for name in extras if name not in NEITHER_RUNS]
    written = [*PROJECT["dependencies"], *(each for many in lists for each in many)]
    return {re.split(r"[\[<>=;! ]", each)[0].lower() for each in written}


def test_every_package_that_runs_is_listed_and_no_other() -> None:
    assert set(ROWS) - {"package", "---"} == needed()


@pytest.mark.parametrize("name", sorted(needed()))
def test_the_licence_is_that_of_the_package(name: str) -> None:
    try:
        stated = metadata(name)
    except PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    words = " ".join(
        [
            stated.get("License-Expression") or stated.get("License") or "",
            *(stated.get_all("Classifier") or []),
        ]
    ).lower()
    licence = ROWS[name].split(";")[0].split(" and ")[0].lower()
    # "BSD-3-Clause" is "BSD License" in older packages, "Apache-2.0" is "Apache 2.0" and so on.
    assert re.split(r"[- ]", licence)[0] in words


def test_the_wheel_of_av_is_what_the_page_says() -> None:
    import av

    inside = av._core.library_meta["libavcodec"]  # type: ignore[attr-defined]
    assert inside["license"] == "LGPL version 3 or later"
    assert "--enable-libx264" in inside["configuration"]
    assert "--enable-libx265" in inside["configuration"]
