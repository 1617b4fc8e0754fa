"""Sessions and setups that share a name are told apart, and why is said."""

import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from tests.tracker.invented_outings import AIR, TENNIS, session, shots_of
from tracker.comparison.answer import Expected, answer, chances
from tracker.comparison.balls import ball_sentences
from tracker.comparison.built import Setup
from tracker.comparison.compare import compare
from tracker.comparison.labels import Filmed, session_labels
from tracker.comparison.setups import SetupShots
from tracker.comparison.words import sentences
from tracker.flight.ball import ball_named
from tracker.launcher.prediction import Outdoors
from tracker.records import Quality, Reason, ReasonCode
from tracker.report.launcher_tables import chances_table, summaries_table
from tracker.statistics.components import Estimate
from tracker.workflow.gathering import gather

MAY = date(2026, 5, 17)
WHEELS = "140 mm wheels"


def test_a_session_is_called_by_its_name_and_date_as_far_as_these_tell_it_apart() -> None:
    given = [
        Filmed('Fen Lane "Monday"', MAY, "/clips/evening"),
        Filmed("Fen Lane", MAY, "/clips/first/lane"),
        Filmed("Fen Lane", MAY, "C:\\clips\\second\\"),
        Filmed("Fen Lane", None, "/a/lane"),
        Filmed("Fen Lane", None, "/b/lane"),
        Filmed("Fen Lane", None, "/b/lane"),
    ]
    assert session_labels(given) == [
        "Fen Lane 'Monday', 2026-05-17",
        "Fen Lane, 2026-05-17, lane",
        "Fen Lane, 2026-05-17, second",
        "Fen Lane, lane, /a/lane",
        "Fen Lane, lane, /b/lane",
        "Fen Lane, lane, /b/lane, 2",
    ]


def without_build(folder: Path) -> Path:
    """Take the launcher's tables out of a session."""
    toml = folder / "session.toml"
    text = toml.read_text(encoding="utf-8")
    toml.write_text(
        f"{text[: text.index('[setup.wheel]')]}{text[text.index('[[clip]]') :]}", "utf-8"
    )
    return folder


def test_a_build_that_is_not_stated_is_unknown_and_one_that_differs_is_different(
    tmp_path: Path,
) -> None:
    silent = without_build(session(tmp_path / "silent", {WHEELS: 2}))
    stated = session(tmp_path / "stated", {WHEELS: 2})
    other = session(tmp_path / "other", {WHEELS: 2})
    toml = other / "session.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("48.0", "52.0"), encoding="utf-8")
    found = gather([stated, other, silent])
    trial = "Fen Lane, wheel trial, 2026-05-17"
    assert [each.name for each in found.setups] == [
        WHEELS,
        f"{WHEELS} ({trial}, other)",
        f"{WHEELS} ({trial}, silent)",
    ]
    different, unknown = found.notes
    assert different.startswith(f'"{WHEELS}" is built differently in {trial}, other; ')
    assert unknown.startswith(f'{trial}, silent, states no build of "{WHEELS}", so whether it is ')
    assert f"that of {trial}, stated, is unknown: that of {trial}, silent, is kept" in unknown
    (turned,) = gather([silent, stated]).notes
    assert turned.startswith(f"{trial}, silent, states no build")
    assert f"that of {trial}, stated, is kept apart" in turned


def shots(name: str, count: int, **changed: object) -> SetupShots:
    rows = tuple(replace(row, **changed) for row in shots_of(WHEELS, count))  # type: ignore[arg-type]
    return SetupShots(name, rows, ("day",) * count)


def test_what_was_never_shot_does_not_lessen_the_best_of_what_was() -> None:
    found = compare([shots("a", 5), shots("b", 5, carry_m=10.0), SetupShots("c", (), ())])
    mean = found.summaries[0].mean
    assert mean is not None
    scores = np.tile([-1.5, -0.5, 0.5, 1.5], 75)
    made = chances(found, {"c": Expected(Estimate(mean.value, 20.0), scores)})
    assert made is not None and made.best[0] == pytest.approx(0.5)
    said = answer(made, found)
    assert said[0].startswith('"a" is the best of what was shot: ')
    assert said[0].endswith("with a chance of more than 99 %.")
    assert said[1].startswith('"c" has no measured mean; the model alone gives it a chance of 50 %')
    plain = compare([shots("a", 5), shots("b", 5, carry_m=10.0)])
    alone = chances(plain, {})
    assert alone is not None
    assert answer(alone, plain)[0].startswith('"a" is the best: ')


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (
            {"quality": Quality.CHECK, "reasons": (Reason(ReasonCode.FIT_NOT_SETTLED),)},
            "2 to be checked: fit not settled",
        ),
        (
            {"quality": Quality.REJECTED, "reasons": (Reason(ReasonCode.REJECTED_BY_HAND),)},
            "2 rejected by hand",
        ),
        ({"carry_m": None}, "2 without this figure"),
        ({"quality": Quality.CHECK}, "2 to be checked"),
    ],
)
def test_shots_of_which_none_counts_say_why(changed: dict[str, object], why: str) -> None:
    said = sentences(compare([shots("a", 5), shots("b", 2, **changed)]))
    assert f'"b" has no shot whose carry counts ({why}): nothing is known of it yet.' in said


def shot_with(name: str, **balls: str) -> Setup:
    """A setup with a shot on each of some evenings, by the ball of each."""
    rows = tuple(shots_of(WHEELS, len(balls)))
    airs = {day: Outdoors(ball_named(ball), AIR, None) for day, ball in balls.items()}
    outdoors = next(iter(airs.values()), Outdoors(TENNIS, AIR, None))
    return Setup(SetupShots(name, rows, tuple(airs)), None, outdoors, airs)


def test_balls_that_differ_are_named_with_what_the_air_s_correction_covers() -> None:
    same = [shot_with("a", may="tennis"), shot_with("b", june="tennis")]
    assert ball_sentences(same, "carry_m", True) == []
    three = [*same, shot_with("c", june="tennis", may="tennis orange"), shot_with("d")]
    (said,) = ball_sentences(three, "carry_m", True)
    assert said.startswith('The balls differ ("c" tennis and tennis orange, the others tennis), ')
    assert "still air takes wind and density out of the carries, not the ball;" in said
    for quantity, still in (("carry_m", False), ("exit_speed_mps", True)):
        assert "no figure is corrected for that;" in ball_sentences(three, quantity, still)[0]
    (two,) = ball_sentences([same[0], shot_with("c", may="tennis orange")], "carry_m")
    assert '("a" tennis, "c" tennis orange)' in two


def test_a_table_keeps_what_tells_its_rows_apart() -> None:
    begin = "140 mm wheels (/evenings-of-the-year/at-fen-lane-field/"
    names = [f"{begin}{end})" for end in ("monday", "tuesday")]
    found = compare([shots(name, 5) for name in names])
    made = chances(found, {})
    assert made is not None
    assert chances_table(made, "m").columns[2].header == "beats the best so far"
    screen = Console(width=80, record=True, file=io.StringIO())
    screen.print(summaries_table(found))
    column = "".join(line.strip().split("  ")[0] for line in screen.export_text().splitlines())
    assert "monday)" in column and "tuesday)" in column and "…" not in column
