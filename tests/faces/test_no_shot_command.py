"""A clip without a shot, through the real command: the last line names the field to change."""

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.faces.test_commands import run
from tests.shared import folder_of
from tracker.synthetic.recipes import RECIPES, Recipe, without_shots
from tracker.synthetic.session import make_session

FOOT_M = 0.3048
"""International foot, m (agreement of 1959; exact)."""


def small(**filming: object) -> Recipe:
    """One shot in a small frame: quick to draw, and quick to measure."""
    wide = RECIPES["wide"]
    how = {"size_px": (1280, 720), "fps": 60.0, "megabits": 8.0, "noise": (0.9, 1.2), **filming}
    return replace(
        wide,
        filming=replace(wide.filming, **how),  # type: ignore[arg-type]
        shooting=replace(wide.shooting, shots=(1, 1), tail_s=0.4),
        wind_sd_mps=0.3,
    )


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder_of(tmp_path_factory, "no-shot", lambda to: make_session(to, small(), 41))


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """240 frames a second in a file that plays 30."""
    recipe = small(fps=240.0, playing_fps=30.0, readout_s=(0.003, 0.004))
    return folder_of(tmp_path_factory, "no-shot-slow", lambda to: make_session(to, recipe, 42))


@pytest.fixture(autouse=True)
def no_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOBMETER_CACHE", "")


@pytest.fixture
def session(drawn: Path, tmp_path: Path) -> Path:
    return copied(drawn, tmp_path)


def copied(drawn: Path, to: Path) -> Path:
    folder = to / "evening"
    shutil.copytree(drawn, folder, ignore=shutil.ignore_patterns("results"))
    return folder


def rewritten(folder: Path, change: Callable[[str], str]) -> None:
    path = folder / "session.toml"
    text = path.read_text(encoding="utf-8")
    assert change(text) != text
    path.write_text(change(text), encoding="utf-8")


def scaled(text: str, factors: tuple[float, float, float]) -> str:
    """Multiply every taped coordinate of markers and camera."""

    def multiplied(match: re.Match[str]) -> str:
        values = np.array([float(each) for each in match[2].split(",")]) * factors
        return f"{match[1]} = {np.round(values, 4).tolist()}"

    return re.sub(r"(ground_m|position_m) = \[([^\]]*)\]", multiplied, text)


def measured(folder: Path, exit_code: int = 1) -> tuple[str, str]:
    """Measure; return all that was printed and the line that names the cause."""
    code, out, faults = run("measure", str(folder))
    assert code == exit_code, out + faults
    words = " ".join(out.split())
    closing = words[words.rindex("Follow local rules") :]
    return words, closing


def assert_explained(folder: Path, closing: str) -> None:
    assert "No shot was found" in closing
    pictures = [path.name for path in (folder / "results").glob("*explained.jpg")]
    assert len(pictures) == 1 and pictures[0] in closing.replace(" ", "")


@pytest.mark.campaign
def test_the_session_as_drawn_gives_its_shot(session: Path) -> None:
    words, closing = measured(session, exit_code=0)
    assert "1 shot" in words and "No shot was found" not in closing
    assert not list((session / "results").glob("*explained.jpg"))


@pytest.mark.parametrize(
    ("change", "named"),
    [
        pytest.param(
            lambda text: scaled(text, (1 / FOOT_M,) * 3),
            "multiply ground_m of every [[marker]]",
            marks=pytest.mark.long,
        ),
        pytest.param(
            lambda text: re.sub(r"height_m = .*", "height_m = 80", text),
            "correct height_m under",
            marks=pytest.mark.campaign,
        ),
        pytest.param(
            lambda text: scaled(text, (-1.0, -1.0, 1.0)),
            "against the firing line",
            marks=pytest.mark.long,
        ),
        pytest.param(
            lambda text: re.sub(r"(?m)^along_m = .*", "along_m = 7.0", text),
            "not at the release",
            marks=pytest.mark.long,
        ),
    ],
    ids=["feet", "height_m = 80", "firing line the other way", "release beside"],
)
def test_what_was_written_wrongly_is_named(
    session: Path, change: Callable[[str], str], named: str
) -> None:
    rewritten(session, change)
    _, closing = measured(session)
    assert_explained(session, closing)
    assert named in closing


@pytest.mark.long
def test_the_wrong_clip_is_asked_about(session: Path, tmp_path: Path) -> None:
    other = tmp_path / "quiet"
    make_session(other, without_shots(small(), 3.0), 43)
    (clip,), (quiet,) = (list((each / "clips").iterdir()) for each in (session, other))
    clip.write_bytes(quiet.read_bytes())
    _, closing = measured(session)
    assert_explained(session, closing)
    assert "is it the right clip" in closing


@pytest.mark.long
def test_slow_motion_that_was_not_stated_is_named_with_its_rate(slow: Path, tmp_path: Path) -> None:
    folder = copied(slow, tmp_path)
    rewritten(folder, lambda text: re.sub(r"capture_fps = .*\n", "", text))
    _, closing = measured(folder)
    assert_explained(folder, closing)
    assert "write capture_fps = 240" in closing


@pytest.mark.long
def test_a_wrong_frame_rate_is_named_though_the_shot_is_found(session: Path) -> None:
    """A rate that is off by a fifth leaves a flight, with 0.7 times the local gravity."""
    rewritten(session, lambda text: text.replace("[camera]", "[camera]\ncapture_fps = 50.0", 1))
    words, _ = measured(session)
    assert "1 shot" in words and "times as fast as gravity" in words
    assert "likely 60 a second, not 50 (capture_fps, on the page Field)" in words
