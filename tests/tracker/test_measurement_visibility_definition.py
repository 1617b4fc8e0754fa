"""What the frames say of a ball, against a plain computation frame by frame of its definition."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import betaln
from scipy.stats import norm

from calibration.adjustment.robust import fit_linear
from tracker.measurement.visibility import (
    LEAST_UNSEEN,
    NEAR_PURITIES,
    PURITIES_BALL,
    Crossing,
    Visibility,
    until_stopped,
    visibility_of,
)
from tracker.records import Backdrop, Candidates, Cutouts, Pictures, Track

NO_CUTOUTS = Cutouts(np.zeros((0, 5, 5), np.int16), np.zeros((0, 2), np.int64))
FRAMES, SIZE = 24, (640, 480)
MAPS = ("limit", "level", "light", "texture")


def backdrop(rng, window, rows, columns, weakest):
    """Maps in which no cell is as its neighbours."""
    shape = (rows, columns)
    limit, level = rng.uniform(8.0, 30.0, shape), rng.uniform(1.0, 8.0, shape)
    light, texture = rng.uniform(60.0, 140.0, shape), rng.uniform(0.0, 9.0, shape)
    return Backdrop(window, limit, level, light, texture, weakest)


def case(seed, components=2, missed=0.25):
    """A flight over uneven backgrounds, seen in most of its frames, in luma and in one colour."""
    rng = np.random.default_rng(seed)
    pixels = np.column_stack(
        [np.linspace(-130.0, 780.0, FRAMES), rng.uniform(-90.0, 570.0, FRAMES)]
    )
    gains = rng.uniform(0.4, 2.0, (FRAMES, components))
    gains[3] = 1e-5
    frames = []
    # Of the colour every pixel differs: there it matters that two of luma share one.
    fine = backdrop(rng, (10, 5, 310, 235), 230, 300, 0.0)
    for number in range(FRAMES):
        maps = [
            backdrop(rng, (20, 10, 620, 470), 6, 9, rng.uniform(0.0, 12.0)),
            replace(fine, weakest=rng.uniform(0.0, 4.0)),
        ][:components]
        others = pixels[number] + rng.uniform(-40.0, 40.0, (rng.integers(0, 7), 2))
        near = np.vstack([pixels[number] + rng.uniform(-1.0, 1.0, 2), others])
        frames.append(
            Candidates(
                frame=3 * number + 7,
                time_s=number / 60.0,
                pixels=near,
                strength=np.ones(len(near)),
                luma=NO_CUTOUTS,
                blueness=None,
                backdrops=tuple(maps),
            )
        )
    shown = np.flatnonzero(rng.uniform(size=FRAMES) >= missed)
    count = len(shown)
    contrasts = np.column_stack(
        [
            rng.normal(60.0, 20.0, count) * rng.choice([1.0, 0.2], count),
            rng.normal(-12.0, 9.0, count),
        ]
    )[:, :components]
    contrasts[1, 0] = np.nan
    track = Track(
        frames=np.array([frames[row].frame for row in shown]),
        times_s=shown / 60.0,
        pixels=pixels[shown],
        covariances=np.tile(0.01 * np.eye(2), (count, 1, 1)),
        lean=np.zeros(count),
        snr=np.full(count, 20.0),
        pictures=Pictures(contrasts, np.exp(rng.normal(1.0, 2.0, count))),
    )
    return track, rng.uniform(size=count) > 0.1, Crossing(frames, pixels, gains)


def cell(backdrop, column, row):
    left, top, right, bottom = backdrop.window
    rows, columns = backdrop.limit.shape
    down = min(max(int(np.floor((row - top) * rows / (bottom - top))), 0), rows - 1)
    across = min(max(int(np.floor((column - left) * columns / (right - left))), 0), columns - 1)
    return [float(getattr(backdrop, name)[down, across]) for name in MAPS]


def plain(track, used, crossing, purities=PURITIES_BALL):
    """The same by its definition: one frame after the other."""
    frames = [each.frame for each in crossing.frames]
    hits = [k for k in range(len(track.frames)) if used[k] and track.frames[k] in frames]
    rows = [frames.index(track.frames[k]) for k in hits]
    parts = []
    for number in range(track.pictures.contrasts.shape[1]):
        least, light, spread = [], [], []
        for row, (column, line) in enumerate(crossing.pixels):
            own = (column, line) if number == 0 else ((column - 0.5) / 2.0, (line - 0.5) / 2.0)
            shown = crossing.frames[row].backdrops[number]
            limit, level, bright, texture = cell(shown, *own)
            gain = max(crossing.gains[row, number], 1e-3)
            least.append(max(limit, shown.weakest * level) / gain)
            light.append(bright)
            spread.append(np.sqrt(texture**2 + 144.0))
        least, light, spread = np.array(least), np.array(light), np.array(spread)
        contrasts = track.pictures.contrasts[hits, number]
        known = [k for k, contrast in enumerate(contrasts) if np.isfinite(contrast)]
        behind = light[[rows[k] for k in known]]
        design = np.column_stack([np.ones(len(known)), behind - behind.mean()])
        fit = fit_linear(
            design, contrasts[known] + behind, rounds=5, least_sigma=12.0,
            ridge=np.diag([0.0, 1600.0]),
        )  # fmt: skip
        middle, slope = fit.parameters
        slope = min(max(slope, -0.2), 0.8)
        brightness = np.clip(middle + slope * (light - behind.mean()), 16.0, 235.0)
        mean = brightness - light
        unseen = norm.cdf((least - mean) / spread) - norm.cdf((-least - mean) / spread)
        shown = np.nan_to_num(contrasts)
        other = 0.5 * norm.pdf(shown, scale=60.0) + 1e-4
        other += 0.5 * norm.pdf(shown - np.median(shown), scale=30.0)
        ball = 0.95 * norm.pdf(shown - mean[rows], scale=spread[rows]) + 0.05 * other
        ratio = np.clip(np.log(ball / other), -2.5, 2.5)
        parts.append((unseen, np.abs(shown) / least[rows], ratio))
    best = [max(range(len(parts)), key=lambda n, k=k: parts[n][1][k]) for k in range(len(hits))]
    shares = [best.count(number) / len(best) for number in range(len(parts))]
    chance = np.ones(len(frames))
    for share, part in zip(shares, parts, strict=True):
        if share >= 0.2:
            chance *= part[0]
    chance = 1.0 - chance
    for row, each in enumerate(crossing.frames):
        away = np.hypot(*(each.pixels - crossing.pixels[row]).T)
        others = np.sum(away < 30.0) - (1 if np.any(away < 5.0) else 0)
        chance[row] = min(max(chance[row] * np.exp(-others / 36.0), 0.03), 0.97)
    found = [row in rows for row in range(len(frames))]
    evidence = sum(np.log(p if seen else 1.0 - p) for p, seen in zip(chance, found, strict=True))
    evidence -= betaln(len(hits) + 1, len(frames) - len(hits) + 1)
    evidence += sum(parts[best[k]][2][k] for k in range(len(hits)))
    for purity in track.pictures.purity[hits]:
        size = np.log(purity)
        ball = norm.logpdf(min(size, purities[0]), *purities)
        other = norm.logpdf(max(size, -1.6), -1.6, 1.6)
        evidence += min(max(ball - other, -2.5), 2.5)
    absences = []
    for row in rows[:4]:
        lost = sum(np.log(0.03) if seen else -np.log(1.0 - p)
                   for p, seen in zip(chance[:row], found[:row], strict=True))  # fmt: skip
        absences.append((lost - np.log(len(frames) / 0.01), row))
    absence, row = max(absences)
    return Visibility(evidence, len(hits), len(frames), sum(chance), frames[row], absence)


def same(found, expected):
    assert found.evidence == pytest.approx(expected.evidence, rel=1e-6, abs=1e-6)
    assert (found.seen, found.crossed) == (expected.seen, expected.crossed)
    assert found.expected == pytest.approx(expected.expected, rel=1e-6)
    assert found.unseen_before == expected.unseen_before
    assert found.absence == pytest.approx(expected.absence, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("components", [1, 2])
@pytest.mark.parametrize("seed", range(6))
def test_the_evidence_of_a_ball_is_that_of_its_definition(seed, components):
    track, used, crossing = case(seed, components)
    same(visibility_of(track, used, crossing), plain(track, used, crossing))


def test_pictures_of_a_near_ball_are_held_against_those_of_near_balls():
    track, used, crossing = case(1)
    near = plain(track, used, crossing, (0.5, 1.0))
    same(visibility_of(track, used, crossing, NEAR_PURITIES), near)
    assert abs(near.evidence - plain(track, used, crossing).evidence) > 1.0


def test_positions_in_frames_that_the_flight_does_not_cross_say_nothing():
    track, used, crossing = case(2)
    part = Crossing(crossing.frames[:15], crossing.pixels[:15], crossing.gains[:15])
    same(visibility_of(track, used, part), plain(track, used, part))


def test_of_what_came_in_half_way_the_likeliest_beginning_is_one_of_its_first_four():
    track, _, crossing = case(3, missed=0.0)
    rows = np.arange(FRAMES)
    for strays in ([], [2], [2, 4], [2, 4, 6], [1, 2, 4, 6]):
        used = (rows >= 14) | np.isin(rows, strays)
        same(visibility_of(track, used, crossing), plain(track, used, crossing))


def stopped(track, used, crossing, whole):
    """Each of the last four frames with the ball may be where it was stopped."""
    shown = [row for row in range(FRAMES) if crossing.frames[row].frame in track.frames[used]]
    best = None
    for last in shown[-4:]:
        if FRAMES - last - 1 < 5:
            continue
        part = Crossing(
            crossing.frames[: last + 1], crossing.pixels[: last + 1], crossing.gains[: last + 1]
        )
        seen = plain(track, used, part)
        if seen.seen < 0.8 * seen.expected:
            continue
        seen = replace(seen, evidence=seen.evidence - np.log(FRAMES / 0.01))
        if seen.evidence > (whole if best is None else best).evidence:
            best = seen
    return best


@pytest.mark.parametrize("strays", [[], [16], [14, 17], [13, 15, 17], [18, 19]])
@pytest.mark.parametrize("seed", [4, 5, 6])
def test_a_ball_is_stopped_at_the_likeliest_of_its_last_four_positions(seed, strays):
    track, _, crossing = case(seed, missed=0.0)
    rows = np.arange(FRAMES)
    used = (rows < 12) | np.isin(rows, strays)
    whole = plain(track, used, crossing)
    expected = stopped(track, used, crossing, whole)
    found = until_stopped(track, used, crossing, whole)
    assert (found is None) == (expected is None)
    if found is not None:
        same(found, expected)


def plainly_seen(unseen_after):
    """A flight that is seen in every frame but the last so many, over grass of one brightness."""
    track, _, crossing = case(7, missed=0.0)
    grass = [np.full((6, 8), value) for value in (12.0, 3.0, 80.0, 2.0)]
    frames = [
        replace(each, pixels=place[None], strength=np.ones(1),
                backdrops=(Backdrop((0, 0, *SIZE), *grass, 0.0),))
        for each, place in zip(crossing.frames, crossing.pixels, strict=True)
    ]  # fmt: skip
    pictures = Pictures(np.full((FRAMES, 1), 90.0), np.full(FRAMES, 8.0))
    one = Crossing(frames, crossing.pixels, np.ones((FRAMES, 1)))
    return replace(track, pictures=pictures), np.arange(FRAMES) < FRAMES - unseen_after, one


@pytest.mark.parametrize("unseen", [LEAST_UNSEEN + 1, LEAST_UNSEEN, LEAST_UNSEEN - 1])
def test_a_ball_is_stopped_five_frames_before_the_end_of_its_flight_or_earlier(unseen):
    track, used, crossing = plainly_seen(unseen)
    whole = replace(visibility_of(track, used, crossing), evidence=-1e3)
    stop = until_stopped(track, used, crossing, whole)
    assert stop is not None and stop.crossed == min(FRAMES - unseen, FRAMES - 5)


@pytest.mark.parametrize(("missed", "is_stopped"), [(3, True), (4, False)])
def test_a_ball_that_was_stopped_was_plainly_seen_before(missed, is_stopped):
    """In four of five frames of those in which it would have been found: 0.97 of sixteen."""
    track, used, crossing = plainly_seen(FRAMES - 16)
    used[3 : 3 + missed] = False
    whole = replace(visibility_of(track, used, crossing), evidence=-1e3)
    assert (until_stopped(track, used, crossing, whole) is not None) is is_stopped
