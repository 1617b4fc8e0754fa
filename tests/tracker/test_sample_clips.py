"""The clips that come with the project, measured from their frames to the rows of results.

Their truth lies beside them; nothing of it reaches the measurement.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.bench.scoring import score_session
from tests.shared import value_of
from tracker.records import Quality
from tracker.session import PlannedEntry, read_session
from tracker.vantage import stand_of
from tracker.vantage.judging import judge
from tracker.workflow.planned import plan_of

SAMPLES = Path(__file__).resolve().parents[2] / "sample_clips"
NAMES = sorted(
    path.parent.name
    for path in SAMPLES.glob("*/session.toml")
    if (path.parent / "truth.json").exists()
)
MARKS = {"wide": pytest.mark.campaign, "quiet": pytest.mark.long, "wheels": pytest.mark.long}
"""Sessions of many frames or shots; the demo's test in the campaign measures the wheels too."""


def named(*names):
    """Return parameters of sessions, each with its mark."""
    return [pytest.param(name, marks=MARKS.get(name, ())) for name in names]


WITH_SHOTS = named("close", "wide")
FIGURES = ("exit_speed_mps", "launch_angle_deg", "carry_m")


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """Measure a session once, however many tests and workers ask for it."""
    return lambda name: value_of(
        tmp_path_factory, f"sample-{name}", lambda: score_session(SAMPLES / name)
    )


@pytest.fixture(scope="module", params=named(*NAMES))
def scores(request, measured):
    return measured(request.param)


@pytest.fixture(scope="module", params=WITH_SHOTS)
def shots(request, measured):
    """The shots of a session that has some; all of them found."""
    found = [shot for score in measured(request.param) for shot in score.shots]
    assert found and all(shot.shot is not None for shot in found)
    return found


def test_there_are_sample_clips():
    assert {"close", *MARKS} <= set(NAMES)


def test_all_shots_are_found_and_none_is_made_up(scores):
    assert scores
    for score in scores:
        assert score.false == 0
        assert all(shot.shot is not None for shot in score.shots)


def test_rows_are_in_order_of_release_and_numbered(shots):
    rows = [shot.shot for shot in shots]
    releases = [row.release_s for row in rows]
    assert releases == sorted(releases)
    assert [row.shot for row in rows] == list(range(1, len(rows) + 1))


@pytest.mark.parametrize("figure", FIGURES)
def test_truth_lies_within_what_the_uncertainty_allows(shots, figure):
    for shot in shots:
        assert abs(shot.z(figure)) < 3.5, (shot.clip, shot.shot.shot)


def test_exit_speed_is_within_one_percent(shots):
    for shot in shots:
        assert abs(shot.error("exit_speed_mps")) < 0.01 * shot.truth["exit_speed_mps"]


@pytest.mark.campaign
def test_carry_is_within_a_quarter_metre_where_the_landing_is_in_view(measured):
    shots = [shot for score in measured("wide") for shot in score.shots]
    assert [shot.shot.landing_seen for shot in shots] == [True] * 3
    assert max(abs(shot.error("carry_m")) for shot in shots) < 0.25


def test_release_is_known_to_a_frame_or_so(shots):
    for shot in shots:
        assert abs(shot.shot.release_s - shot.truth["release_s"]) < 0.05


@pytest.mark.parametrize("figure", FIGURES)
def test_stated_uncertainty_is_neither_boastful_nor_idle(shots, figure):
    # Below the least possible would be a lie; far above it would waste the clip.
    name, unit = figure.rsplit("_", 1)
    ratio = [getattr(shot.shot, f"{name}_u_{unit}") / shot.bound[figure] for shot in shots]
    assert 0.7 < np.median(ratio) < 3.0


def test_no_shot_is_called_good_that_is_not(shots):
    for shot in shots:
        good = shot.shot.quality is Quality.GOOD
        assert good or shot.shot.quality is Quality.CHECK
        assert good == (shot.shot.reason == "") == shot.shot.landing_seen
        assert good or shot.shot.reason.endswith(".")


@pytest.mark.parametrize("name", WITH_SHOTS)
def test_forecast_before_filming_agrees_with_the_measurement(measured, name):
    # The forecast knows the stand and the shot, but neither the pixels of the markers nor the
    # light. Over 34 clips by another renderer it came to 1.05 to 1.4 times what was then stated.
    for shot in (shot for score in measured(name) for shot in score.shots):
        row = shot.shot
        session = read_session(SAMPLES / name)
        release = replace(session.release, angle_deg=row.launch_angle_deg)
        planned = PlannedEntry(exit_speed_mps=row.exit_speed_mps)
        plan, _ = plan_of(replace(session, release=release, planned=planned))
        stand, shots, _ = stand_of(plan)
        u = judge(stand, shots).u
        for figure in (*FIGURES, "azimuth_deg", "apex_m"):
            stem, unit = figure.rsplit("_", 1)
            assert 1 / 1.6 < u[figure] / getattr(row, f"{stem}_u_{unit}") < 2.0, figure


@pytest.mark.long
def test_quiet_clips_have_no_rows(measured):
    (score,) = measured("quiet")
    assert score.shots == () and score.false == 0


def test_the_sample_sessions_leave_a_checkout_below_30_megabytes() -> None:
    """All else of a checkout takes 8 MB on a disk of 4 kB blocks."""
    kept = [
        path
        for ending in ("clips/*.mp4", "*.toml", "*.json")
        for path in SAMPLES.glob(f"*/{ending}")
    ]
    taken = sum(-(-each.stat().st_size // 4096) * 4096 for each in kept)
    assert taken < 22e6
