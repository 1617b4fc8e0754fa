"""`lobmeter review` on a clip: ends that a person gives, and shots that the search missed."""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import pytest

from calibration.errors import InputError
from tests.faces.measured_close import measured_close
from tests.faces.test_commands import run
from tracker.records import Quality, Shot
from tracker.results import read_shots
from tracker.video import inspect
from tracker.workflow import clips as measuring
from tracker.workflow import deciding, decisions

CLOSE = Path(__file__).parents[2] / "sample_clips" / "close"


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LOBMETER_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return measured_close(tmp_path_factory)


@pytest.fixture
def folder(ready: Path, tmp_path: Path, cache: Path) -> Path:
    shutil.copytree(ready / "cache", cache)
    return Path(shutil.copytree(ready / "lane", tmp_path / "lane"))


def rows(folder: Path) -> list[Shot]:
    return read_shots(folder / "results" / "shots.csv")


def places(folder: Path, *frames: float) -> list[str]:
    """The options that name the ball's places at shares of its measured positions.

    Their times are the file's own, which plays slower than life here.
    """
    import pandas as pd

    times = inspect(next((folder / "clips").iterdir())).file_times_s

    track = pd.read_csv(folder / "results" / "tracks.csv")
    track = track[track.used]
    words = []
    for share in frames:
        row = track.iloc[int(share * (len(track) - 1))]
        # A person picks whole pixels.
        words += ["--place", f"{times[int(row.frame)]:.4f},{row.column_px:.0f},{row.row_px:.0f}"]
    return words


def test_a_taped_landing_is_answered_at_once_and_reaches_the_results(folder: Path) -> None:
    (before,) = rows(folder)
    assert before.landing_along_m is not None and before.landing_across_m is not None
    at = (f"{before.landing_along_m + 0.02:.3f}", f"{before.landing_across_m:.3f}")
    words = ("--shot", "1", "--landing-m", *at, "--landing-u-m", "0.02")
    code, shown, errors = run("review", str(folder), *words, "--json")
    assert code == 0, errors
    answer = json.loads(shown)["answer"]
    assert answer["carry_u_m"] < before.carry_u_m
    assert rows(folder) == [before]
    run("measure", str(folder))
    (after,) = rows(folder)
    assert after.carry_m == pytest.approx(answer["carry_m"], abs=1e-6)
    assert after.reasons[0].code.value == "landing_by_hand" and after.landing_seen
    run("review", str(folder), "--undo")
    run("measure", str(folder))
    assert rows(folder) == [before]


def test_a_landing_that_fits_no_flight_is_listed_as_one_that_does_not_hold(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def without_solution(*_: object) -> None:
        raise ValueError

    monkeypatch.setattr(decisions, "with_ends", without_solution)
    words = ("--shot", "1", "--landing-m", "72", "0.3")
    for given in (words, (), ()):
        code, shown, errors = run("review", str(folder), *given)
        assert code == 1, errors
        assert " ".join(shown.split()).count("shot 1 of clips/140mm.mp4 fits no flight") == 1
        if not given:
            run("measure", str(folder))
    assert rows(folder)[0].reasons[0].code.value != "landing_by_hand"


@pytest.mark.long
def test_a_moved_release_keeps_what_was_said_of_the_landing(folder: Path) -> None:
    (before,) = rows(folder)
    run("review", str(folder), "--shot", "1", "--landing-at", f"{before.release_s + 1.5:.3f}")
    words = ("--shot", "1", "--release-at", f"{before.release_s + 0.004:.4f}", "--reason", "heard")
    code, shown, errors = run("review", str(folder), *words)
    assert code == 0, errors
    text = (folder / "review.toml").read_text(encoding="utf-8")
    assert "landing_s" in text and "moved_release_s" in text and 'reason = "heard"' in text
    assert text.count("[[decision]]") == 1
    assert "it is now shot 1" in " ".join(shown.split()).lower()


@pytest.fixture
def missed(tmp_path: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The session measured by a search that finds nothing."""
    whole = measuring.measure

    def blind(*given: object) -> object:
        result = whole(*given)  # type: ignore[arg-type]
        return replace(result, shots=())

    monkeypatch.setattr(measuring, "measure", blind)
    folder = Path(shutil.copytree(CLOSE, tmp_path / "missed"))
    assert run("measure", str(folder))[0] == 1
    assert rows(folder) == []
    return folder


@pytest.mark.long
def test_a_missed_shot_is_found_from_two_places(missed: Path, ready: Path) -> None:
    (truly,) = rows(ready / "lane")
    two = places(ready / "lane", 0.2, 0.7)
    code, shown, errors = run("review", str(missed), *two, "--reason", "behind the sign")
    assert code == 1, errors
    assert "in the next results it is shot 1 of the clip" in " ".join(shown.split()).lower()
    assert "lobmeter measure brings it there" in " ".join(shown.split())
    run("measure", str(missed))
    (found,) = rows(missed)
    assert found.reasons[0].code.value == "added_by_hand"
    assert "behind the sign" in found.reason
    assert found.exit_speed_mps is not None and truly.exit_speed_mps is not None
    assert found.exit_speed_mps == pytest.approx(truly.exit_speed_mps, rel=2e-3)
    assert found.frames_seen > 0.9 * truly.frames_seen
    assert found.quality is truly.quality
    # A decision about it holds as about any other, and taking back goes one step at a time.
    run("review", str(missed), "--shot", "1", "--reject", "a crow")
    run("measure", str(missed))
    assert rows(missed)[0].quality is Quality.REJECTED
    run("review", str(missed), "--shot", "1", "--take-back")
    run("review", str(missed), "--shot", "1", "--take-back")
    assert "[[" not in (missed / "review.toml").read_text(encoding="utf-8")
    run("measure", str(missed))
    assert rows(missed) == []


@pytest.mark.campaign
def test_places_of_a_shot_that_was_found_change_nothing(folder: Path) -> None:
    before = rows(folder)
    code, shown, _ = run("review", str(folder), *places(folder, 0.2, 0.7))
    assert code == 1 and "this ball is the shot released at" in " ".join(shown.split())
    run("measure", str(folder))
    assert rows(folder) == before


BAD = {
    "one place": (("--place", "0.5,300,400"), "--place: one place of the ball is given"),
    "no numbers": (("--place", "0.5,300", "--place", "0.7,1,2"), "12.40,310,640"),
    "backward": (("--place", "0.7,300,400", "--place", "0.5,300,400"), "order of time"),
    "no flight": (("--place", "0.5,100,900", "--place", "0.6,1900,10"), "from the release"),
    "no candidate": (("--candidate", "77"), "were released at"),
    "far release": (("--shot", "1", "--release-at", "1.9"), "add it anew"),
    "two things": (("--undo", "--place", "0.5,300,400"), "one at a time"),
    "two ways": (("--candidate", "0.9", "--place", "0.5,300,400"), "one at a time"),
    "places and a shot": (("--place", "0.5,300,400", "--reject", "x"), "one at a time"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_is_a_sentence_and_changes_nothing(folder: Path, case: str) -> None:
    words, wanted = BAD[case]
    code, _, errors = run("review", str(folder), *words)
    assert code == 2 and wanted in errors, errors
    assert not (folder / "review.toml").exists()


def test_a_missed_shot_may_be_of_another_setup(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    added = Mock(side_effect=InputError("seen"))
    monkeypatch.setattr(deciding, "add_missed", added)
    code, _, errors = run("review", str(folder), *places(folder, 0.2, 0.7), "--setup", "felt")
    assert code == 2 and "seen" in errors
    assert added.call_args.args[1].setup == "felt"


@pytest.mark.long
def test_a_rejected_candidate_can_be_taken(
    missed: Path, monkeypatch: pytest.MonkeyPatch, ready: Path
) -> None:
    import numpy as np
    import pandas as pd

    from tracker.records import Reason, ReasonCode, RejectedCandidate

    track = pd.read_csv(ready / "lane" / "results" / "tracks.csv")
    (truly,) = rows(ready / "lane")
    candidate = RejectedCandidate(
        truly.clip,
        truly.release_s,
        20.0,
        30,
        60,
        (Reason(ReasonCode.DETECTIONS_FEW, {"hits": 30.0}),),
        track.time_s.to_numpy(),
        track[["column_px", "row_px"]].to_numpy() + np.array([1.0, -2.0]),
    )
    whole = measuring.measure

    def found(*given: object) -> object:
        return replace(whole(*given), rejected_candidates=(candidate,))  # type: ignore[arg-type]

    monkeypatch.setattr(measuring, "measure", found)
    run("measure", str(missed), "--anew")
    # Kept only where a cache is used; a change of the session makes it measured again.
    text = (missed / "session.toml").read_text(encoding="utf-8")
    altered = text.replace("[ball]", "[ball]\nmass_g = 57.71", 1)
    assert altered != text
    (missed / "session.toml").write_text(altered, encoding="utf-8")
    run("measure", str(missed))
    code, shown, errors = run("review", str(missed), "--candidate", f"{truly.release_s:.2f}")
    assert code == 1, errors
    assert "added by 4 places of the ball" in " ".join(shown.split())
    run("measure", str(missed))
    (row,) = rows(missed)
    assert row.exit_speed_mps == pytest.approx(truly.exit_speed_mps, rel=5e-3)
