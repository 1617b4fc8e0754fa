"""Shots reported from anywhere: found wherever they start, and nothing else reported with them."""

import json
import re
import shutil
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from tests.shared import folder_of, value_of
from tests.tracker.thrown_balls import Throw
from tests.tracker.thrown_clip import Ball, Roll, session
from tracker.cli.program import program
from tracker.measurement.starts.merging import together, without_hops, without_other_falls
from tracker.records import Quality, Reason, ReasonCode
from tracker.workflow.measure import MeasureOptions, measure_session

SHOT = Ball(0.25, Throw(10.2, 42.0, 2.0, drag=0.53, start_m=(0.0, 0.0, 0.8)))
BACK = Ball(1.2, Throw(9.3, 38.0, 172.0, drag=0.53, start_m=(11.0, 1.0, 1.7)))
ROLL = Roll(0.3, (11.5, -2.0), (-4.0, 0.4))
SECONDS = 3.2


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A shot, a ball thrown back and one rolled back; both of the thrown ones hop on."""
    return folder_of(
        tmp_path_factory, "anywhere", lambda to: session(to, (SHOT, BACK, ROLL), SECONDS)
    )


def measured(tmp_path_factory, folder, options):
    """Measure a copy of the session, so that its results stay its own."""
    name = "anywhere-measured" if options.from_anywhere else "usual-measured"

    def measure():
        copy = tmp_path_factory.mktemp("fen") / "lane"
        shutil.copytree(folder, copy)
        return measure_session(copy, options=options)

    return value_of(tmp_path_factory, name, measure)


@pytest.fixture(scope="module")
def usual(tmp_path_factory, folder):
    return measured(tmp_path_factory, folder, MeasureOptions())


@pytest.fixture(scope="module")
def anywhere(tmp_path_factory, folder):
    return measured(tmp_path_factory, folder, MeasureOptions(from_anywhere=True))


def holds(shot, ball, within=3.0):
    """Every figure lies within so many of its own standard uncertainties of the truth."""
    for name, true in ball.truth().items():
        stem, unit = name.rsplit("_", 1)
        value, u = getattr(shot, name), getattr(shot, f"{stem}_u_{unit}")
        assert abs(value - true) < within * u, f"{name} {value:.3f} ± {u:.3f}, true {true:.3f}"


@pytest.mark.long
def test_what_starts_at_the_release_point_is_the_same_with_the_option(usual, anywhere):
    (shot,) = usual.shots
    assert shot.quality is Quality.GOOD
    assert anywhere.shots[0] == shot
    holds(shot, SHOT)


def test_a_ball_thrown_back_is_reported_with_where_it_starts(anywhere):
    assert len(anywhere.shots) == 2
    shot = anywhere.shots[1]
    assert shot.shot == 2 and shot.quality is Quality.CHECK
    begins = shot.reasons[0]
    assert begins.code is ReasonCode.STARTS_ELSEWHERE
    assert 10.0 < begins.numbers["along"] < 12.0 and begins.numbers["along_u"] < 1.0
    assert re.search(r"release: 1[01]\.\d ± 0\.\d m along", shot.reason)
    assert abs(shot.release_s - BACK.began_s) < 0.03
    assert abs(shot.azimuth_deg - 172.0) < 3.0 * shot.azimuth_u_deg
    holds(shot, BACK)
    assert shot.landing_seen
    assert shot.exit_speed_u_mps < 0.05 * shot.exit_speed_mps


def test_what_was_rejected_is_reported_with_the_reason(anywhere):
    written = json.loads((anywhere.folder / "shots.json").read_text(encoding="utf-8"))
    reasons = [each["reason"] for each in written["rejected_candidates"]]
    assert reasons and all(reason.endswith(".") for reason in reasons)
    points = [point for point in anywhere.clips[0].shots[1].points if point.used]
    assert len(points) > 50 and all(point.shot == 2 for point in points)


def after(shot, lapse_s, keeps, rises):
    """A flight that begins where another landed, so much later, with parts of its speed there."""
    path = shot.path
    down = (path.points_m[-1] - path.points_m[-2]) / (path.times_s[-1] - path.times_s[-2])
    since = np.linspace(0.0, 0.6, len(path.times_s))[:, None]
    speed = np.array([keeps * down[0], keeps * down[1], -rises * down[2]])
    start = path.points_m[-1] + np.array([keeps * lapse_s * down[0], 0.0, 0.3])
    moved = replace(
        path,
        times_s=path.times_s[-1] + lapse_s + since[:, 0],
        points_m=start + speed * since - np.array([0.0, 0.0, 4.9]) * since**2,
    )
    return replace(
        shot,
        shot=replace(shot.shot, quality=Quality.CHECK, release_s=float(moved.times_s[0])),
        path=moved,
    )


def test_what_goes_on_after_a_landing_is_a_hop_and_what_comes_back_is_not(anywhere):
    shot = anywhere.clips[0].shots[0]
    kept, (hop,) = without_hops([shot, after(shot, 0.1, 0.6, 0.6)])
    assert kept == [shot]
    (reason,) = hop.reasons
    assert (reason.code, reason.numbers) == (ReasonCode.HOP, {"release_s": shot.shot.release_s})
    for other in (after(shot, 0.1, -0.6, 0.6), after(shot, 1.6, 0.6, 0.6)):
        assert without_hops([shot, other]) == ([shot, other], [])
    faster = after(shot, 0.1, 1.4, 1.2)
    assert without_hops([shot, faster]) == ([shot, faster], [])


def test_what_falls_otherwise_than_the_clips_balls_is_none(anywhere):
    """A bird that glides along an arc; were the frame rate wrong, all would fall so."""
    first, second = anywhere.clips[0].shots
    reason = Reason(ReasonCode.GRAVITY_OFF, {"share": 0.63})
    bird, other = (
        replace(each, shot=replace(each.shot, quality=Quality.CHECK, reasons=(reason,)))
        for each in (first, second)
    )
    kept, (none,) = without_other_falls([], [bird, second])
    assert kept == [second] and none.reasons == (reason,)
    assert none.release_s == first.shot.release_s
    # A shot from the release point shows as well how balls fall, but not one that is rejected.
    assert without_other_falls([second], [bird])[0] == []
    rejected = replace(second, shot=replace(second.shot, quality=Quality.REJECTED))
    for usual, others in (([], [bird, other]), ([other], [bird]), ([rejected], [bird])):
        assert without_other_falls(usual, others) == (others, [])
    assert without_other_falls([], [first, second]) == ([first, second], [])


def test_a_ball_found_twice_is_reported_once(anywhere):
    first, second = anywhere.clips[0].shots
    doubted = replace(first, shot=replace(first.shot, quality=Quality.CHECK))
    elsewhere = replace(first, shot=replace(first.shot, quality=Quality.CHECK, carry_m=9.0))
    assert together([first], [elsewhere, second], 1.0) == [first, second]
    assert together([doubted], [elsewhere, second], 1.0) == [elsewhere, second]
    assert together([doubted], [second], 1.0) == [doubted, second]
    # What could not be measured from the release point was the ball of a flight from elsewhere.
    lost = replace(first, points=(), path=None, shot=replace(first.shot, quality=Quality.REJECTED))
    assert together([lost], [elsewhere], 1.0) == [elsewhere]


@pytest.mark.long
def test_with_a_wrong_release_point_both_are_found_from_elsewhere(folder, tmp_path):
    """The launcher was carried five metres on; nobody wrote that down."""
    away = tmp_path / "away"
    shutil.copytree(folder / "clips", away / "clips")
    text = (folder / "session.toml").read_text(encoding="utf-8")
    (away / "session.toml").write_text(
        text.replace("along_m = 0.0\n", "along_m = 5.0\n", 1), encoding="utf-8"
    )
    assert measure_session(away).shots == ()
    first, second = measure_session(away, options=MeasureOptions(from_anywhere=True)).shots
    holds(first, SHOT)
    holds(second, BACK)
    assert first.quality is second.quality is Quality.CHECK


@pytest.mark.campaign
def test_nothing_is_reported_of_a_scene_without_throws(tmp_path):
    quiet = session(tmp_path / "quiet", (ROLL,), 1.6)
    result = CliRunner().invoke(program, ["measure", "--from-anywhere", str(quiet)])
    assert result.exit_code == 1, result.output  # no shot needs a look
    words = " ".join(result.output.split())
    assert "no shot" in words
    assert "140mm-explained.jpg" in words.replace(" ", "")  # what was seen instead
    assert (quiet / "results" / "140mm-explained.jpg").is_file()
    assert json.loads((quiet / "results" / "shots.json").read_text(encoding="utf-8"))["shots"] == []
