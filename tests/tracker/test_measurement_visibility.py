"""A ball against anything else, frame by frame: what each frame should count."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.measurement.visibility import (
    LEAST_UNSEEN,
    MOST_A_PICTURE,
    STOPS,
    Crossing,
    Visibility,
    chances,
    purity_ratio,
    until_stopped,
    visibility_of,
)
from tracker.records import Backdrop, Candidates, Cutouts, Pictures, Track

FRAMES, WIDTH, HEIGHT = 60, 640, 480
LIMIT, LEVEL, GAIN = 20.0, 6.0, 1.5
BALL, GRASS = 170.0, 80.0
NO_CUTOUTS = Cutouts(np.zeros((0, 5, 5), np.int16), np.zeros((0, 2), np.int64))
PIXELS = np.column_stack([np.linspace(40.0, 600.0, FRAMES), np.full(FRAMES, 200.0)])


def backdrop(light: float = GRASS, limit: float = LIMIT, weakest: float = 0.0) -> Backdrop:
    maps = [np.full((6, 8), value, np.float32) for value in (limit, LEVEL, light, 4.0)]
    return Backdrop((0, 0, WIDTH, HEIGHT), *maps, weakest)


def colour(light: float, limit: float = 4.0) -> Backdrop:
    return replace(backdrop(light, limit), window=(0, 0, WIDTH // 2, HEIGHT // 2))


def crossing(*backdrops: tuple[Backdrop, ...], frames: int = FRAMES) -> Crossing:
    shown = [
        Candidates(
            frame, frame / 60.0, PIXELS[frame : frame + 1], np.ones(1), NO_CUTOUTS, None, None, each
        )
        for frame, each in enumerate(backdrops[:frames])
    ]
    return Crossing(shown, PIXELS[:frames], np.full((frames, 2), GAIN))


def track(contrasts: np.ndarray, purity: float = 8.0) -> Track:
    count = len(contrasts)
    return Track(
        np.arange(count),
        np.arange(count) / 60.0,
        PIXELS[:count],
        np.repeat(0.01 * np.eye(2)[None], count, axis=0),
        np.zeros(count),
        np.full(count, 20.0),
        Pictures(contrasts.reshape(count, -1), np.full(count, purity)),
    )


SEEN = track(np.full(FRAMES, BALL - GRASS))
PLAIN = crossing(*[(backdrop(),)] * FRAMES)
FIRST_HALF = np.arange(FRAMES) < FRAMES // 2


def found(seen: Track, where: Crossing, used: np.ndarray | None = None) -> Visibility:
    used = np.ones(len(seen.frames), bool) if used is None else used
    result = visibility_of(seen, used, where)
    assert result is not None
    return result


def half_hidden(hidden: Backdrop) -> Crossing:
    """The second half of the frames has another backdrop."""
    half = FRAMES // 2
    return crossing(*[(backdrop(),)] * half, *[(hidden,)] * half)


def test_a_ball_that_is_seen_all_the_way_is_believed() -> None:
    clear = found(SEEN, PLAIN)
    assert clear.evidence > 2.0 * FRAMES
    assert (clear.seen, clear.crossed) == (FRAMES, FRAMES)
    assert clear.expected == pytest.approx(0.97 * FRAMES)


def test_a_ball_is_likely_found_but_before_a_background_of_its_own_brightness() -> None:
    used = FIRST_HALF
    plain, hidden = (chances(SEEN, used, half_hidden(backdrop(light))) for light in (GRASS, BALL))
    assert plain is not None and hidden is not None
    assert plain == pytest.approx(0.97) and hidden[used] == pytest.approx(0.97)
    assert np.all(hidden[~used] < 0.5)
    assert chances(replace(SEEN, pictures=None), used, PLAIN) is None


def test_what_is_missed_in_plain_view_counts_against_it_frame_by_frame() -> None:
    evidence = [
        found(SEEN, PLAIN, np.arange(FRAMES) < count).evidence for count in (FRAMES, 45, 30, 15)
    ]
    steps = -np.diff(evidence)
    # Each missed frame costs the logarithm of a miss, and the picture that would have been there.
    assert np.all(steps > 15 * 2.0)
    assert evidence[-1] < 0.0


@pytest.mark.parametrize(
    "hidden",
    [backdrop(light=BALL), backdrop(limit=200.0), backdrop(weakest=40.0)],
    ids=["as bright as the ball", "noise too high", "too many stronger candidates"],
)
def test_what_hides_a_ball_explains_that_it_was_missed(hidden: Backdrop) -> None:
    plain = found(SEEN, PLAIN, FIRST_HALF)
    explained = found(SEEN, half_hidden(hidden), FIRST_HALF)
    assert explained.evidence > plain.evidence + 1.5 * FRAMES // 2
    assert explained.evidence > FRAMES
    assert explained.expected < 0.8 * FRAMES < plain.expected


def test_a_ball_as_bright_as_its_background_may_show_by_its_colour() -> None:
    level = [(backdrop(light=BALL), colour(light=130.0))] * FRAMES
    seen = track(np.column_stack([np.full(FRAMES, np.nan), np.full(FRAMES, -30.0)]))
    by_colour = found(seen, crossing(*level))
    assert by_colour.expected > 0.9 * FRAMES
    assert by_colour.evidence > FRAMES
    # A dull ball would hardly show there, so no frame is held against it.
    dull = track(np.column_stack([np.full(FRAMES, np.nan), np.full(FRAMES, -1.0)]))
    without = [(backdrop(light=BALL), colour(light=130.0, limit=60.0))] * FRAMES
    assert found(dull, crossing(*without)).expected < 0.4 * FRAMES


def test_candidates_around_may_take_its_place() -> None:
    crowd = np.array([[10.0, 0.0], [0.0, 12.0], [-14.0, 3.0], [9.0, -9.0], [20.0, 5.0]])
    frames = [
        replace(each, pixels=np.vstack([each.pixels, each.pixels + crowd]), strength=np.ones(6))
        for each in PLAIN.frames
    ]
    crowded = found(SEEN, replace(PLAIN, frames=frames))
    # Five within 30 px: on average 0.14 of them within 5 px.
    assert crowded.expected == pytest.approx(FRAMES * np.exp(-5.0 / 36.0))


def test_a_spot_that_is_now_bright_and_now_dark_is_no_ball() -> None:
    turns = np.where(np.arange(FRAMES) % 2 == 0, 90.0, -40.0)
    assert found(track(turns), PLAIN).evidence < found(SEEN, PLAIN).evidence - 2.0 * FRAMES


def test_nothing_is_darker_than_black() -> None:
    """A bird before a dull sky is far darker in a ball's picture than any ball could be."""
    dusk = crossing(*[(backdrop(light=60.0),)] * FRAMES)
    dark = found(track(np.full(FRAMES, -40.0)), dusk)
    darker = found(track(np.full(FRAMES, -140.0)), dusk)
    assert dark.evidence > darker.evidence + 2.0 * FRAMES


def test_pictures_of_which_a_ball_explains_little_are_something_else() -> None:
    assert found(track(np.full(FRAMES, BALL - GRASS), purity=0.1), PLAIN).evidence < 0.0


def test_positions_that_the_flight_does_not_explain_are_missed() -> None:
    assert found(SEEN, PLAIN, FIRST_HALF).seen == FRAMES // 2


def test_a_faint_ball_may_be_left_out_of_any_share_of_the_pictures() -> None:
    third = np.arange(FRAMES) % 3 == 0
    plain = visibility_of(SEEN, third, PLAIN)
    faint = visibility_of(SEEN, third, PLAIN, faint=True)
    assert plain is not None and faint is not None
    # All frames are alike here: one found counts ln P, one missed ln(1 - P), each share as likely.
    chance = plain.expected / FRAMES
    shares = np.linspace(0.1, 1.0, 10)
    few = (shares * chance) ** 20 * (1.0 - shares * chance) ** 40
    all_frames = 20 * np.log(chance) + 40 * np.log(1.0 - chance)
    assert faint.evidence - plain.evidence == pytest.approx(np.log(few.mean()) - all_frames)
    assert plain.evidence < 0.0 < faint.evidence
    assert faint.expected == plain.expected


def test_nothing_is_known_without_pictures_backdrops_or_positions() -> None:
    used = np.ones(FRAMES, bool)
    assert visibility_of(replace(SEEN, pictures=None), used, PLAIN) is None
    assert visibility_of(SEEN, ~used, PLAIN) is None
    assert visibility_of(SEEN, used, crossing(*[()] * FRAMES)) is None


@given(st.lists(st.floats(1e-9, 1e9), min_size=2, max_size=20))
def test_a_purer_picture_never_counts_less(purities: list[float]) -> None:
    counted = purity_ratio(np.sort(purities))
    assert np.all(np.diff(counted) >= -1e-12)
    assert np.all(np.abs(counted) <= MOST_A_PICTURE)
    assert purity_ratio(np.array([0.2]))[0] < -1.0 < 1.0 < purity_ratio(np.array([8.0]))[0]


@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_a_missed_frame_counts_less_the_nearer_its_background_is_to_the_ball(
    one: float, other: float
) -> None:
    near, far = sorted((one, other))
    evidence = [
        found(SEEN, half_hidden(backdrop(light=BALL - off)), FIRST_HALF).evidence
        for off in (near, far)
    ]
    assert evidence[0] >= evidence[1] - 1e-9


@pytest.mark.parametrize("stop", [20, 40])
def test_a_ball_that_a_net_catches_is_one_up_to_the_net(stop: int) -> None:
    used = np.arange(FRAMES) < stop
    whole = found(SEEN, PLAIN, used)
    short = until_stopped(SEEN, used, PLAIN, whole)
    assert short is not None
    alone = found(SEEN, crossing(*[(backdrop(),)] * FRAMES, frames=stop), used)
    assert (short.seen, short.crossed) == (stop, stop)
    assert short.evidence == pytest.approx(alone.evidence - np.log(FRAMES / STOPS))
    assert short.evidence > 40.0 and short.evidence > whole.evidence


def test_one_position_beyond_the_net_does_not_hide_it() -> None:
    used = np.arange(FRAMES) < 30
    used[50] = True
    short = until_stopped(SEEN, used, PLAIN, found(SEEN, PLAIN, used))
    assert short is not None and short.crossed == 30


def test_what_was_seen_in_part_of_its_way_only_was_not_stopped() -> None:
    # A bird that crosses the flight in its middle.
    used = (np.arange(FRAMES) >= 15) & (np.arange(FRAMES) < 40)
    assert until_stopped(SEEN, used, PLAIN, found(SEEN, PLAIN, used)) is None


def test_a_ball_that_is_lost_just_before_it_lands_was_not_stopped() -> None:
    used = np.arange(FRAMES) < FRAMES - LEAST_UNSEEN + 1
    assert until_stopped(SEEN, used, PLAIN, found(SEEN, PLAIN, used)) is None
    # Nor one that is hidden by a sky of its own brightness.
    faint = half_hidden(backdrop(light=BALL))
    assert until_stopped(SEEN, FIRST_HALF, faint, found(SEEN, faint, FIRST_HALF)) is None


def test_what_came_in_half_way_was_not_there_before() -> None:
    late = found(SEEN, PLAIN, ~FIRST_HALF)
    assert late.unseen_before == FRAMES // 2
    missed = -np.log(1.0 - 0.97) * FRAMES / 2.0
    assert late.absence == pytest.approx(missed - np.log(FRAMES / STOPS))
    # One stray find before it changes little.
    used = ~FIRST_HALF
    used[12] = True
    stray = found(SEEN, PLAIN, used)
    assert stray.unseen_before == FRAMES // 2 and 0.8 * late.absence < stray.absence < late.absence


def test_what_is_seen_from_the_first_or_hidden_at_first_was_there() -> None:
    assert found(SEEN, PLAIN).absence < 0.0
    used = np.arange(FRAMES) >= 2
    assert found(SEEN, PLAIN, used).absence < 0.0
    half = FRAMES // 2
    hidden = crossing(*[(backdrop(light=BALL),)] * half, *[(backdrop(),)] * half)
    assert found(SEEN, hidden, ~FIRST_HALF).absence < 0.1 * found(SEEN, PLAIN, ~FIRST_HALF).absence
