"""Flights drawn into frames as they grow, and the film that is made of them."""

from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from calibration.ground import Ground
from tests.tracker.invented_shot import CAMERA, SIZE, invented
from tracker.records import Quality
from tracker.report.overlay import OverlayPainter, flight_of
from tracker.report.overlay.film import Pace, flight_stills, pace_of, write_overlay
from tracker.report.overlay.painter import PATH, SEEN, SIGN, TICKS
from tracker.report.overlay.sprites import label_sprite, lay
from tracker.report.signs import CORNERS, EVENTS
from tracker.video import ClipWriter, inspect

RELEASE_S = 3.417


def flight():
    measured = invented()[0]
    found = flight_of(measured.shot, measured.points, RELEASE_S, CAMERA)
    assert found is not None
    return found


def near(image: np.ndarray, colour: tuple[int, int, int]) -> int:
    return int((np.abs(image.astype(int) - colour).max(axis=2) < 12).sum())


def test_the_path_runs_from_the_release_to_the_landing_along_the_fit() -> None:
    measured = invented()[0]
    assert measured.path is not None
    path = flight()
    assert path.times_s[0] == RELEASE_S
    assert path.pixels[0] == pytest.approx(measured.path.release_px, abs=1.5)
    across = measured.shot.landing_across_m
    landing = CAMERA.project([(measured.shot.landing_along_m, across, 0.0)])[0]
    assert path.pixels[-1] == pytest.approx(landing, abs=0.5)
    assert measured.shot.flight_time_s is not None
    assert path.times_s[-1] == pytest.approx(RELEASE_S + measured.shot.flight_time_s)
    assert np.all(np.diff(path.times_s) > 0)
    for time_s, pixel in zip(path.times_s[1:60], path.pixels[1:60], strict=True):
        true = [
            np.interp(time_s, measured.path.times_s, measured.path.pixels[:, i]) for i in (0, 1)
        ]
        assert pixel == pytest.approx(true, abs=0.2)


def test_a_path_on_a_slope_ends_on_it() -> None:
    measured = invented()[0]
    found = flight_of(measured.shot, measured.points, RELEASE_S, CAMERA, Ground(-0.04))
    along, across = measured.shot.landing_along_m, measured.shot.landing_across_m
    landing = CAMERA.project([(along, across, -0.04 * along)])[0]
    assert found.pixels[-1] == pytest.approx(landing, abs=0.5)


def test_events_become_known_in_order_and_say_what_was_measured() -> None:
    release, apex, landing = flight().events
    assert (release.sign, apex.sign, landing.sign) == ("release", "apex", "landing")
    assert release.time_s < apex.time_s < landing.time_s
    assert release.words == "18.00 ±0.05 m/s at 42.00 ±0.13°"
    assert apex.words.startswith("apex 8.2") and landing.words.startswith("carry 3")


def test_a_rejected_row_and_a_row_without_places_have_no_flight() -> None:
    measured = invented()[0]
    rejected = replace(measured.shot, quality=Quality.REJECTED)
    assert flight_of(rejected, measured.points, RELEASE_S, CAMERA) is None
    assert flight_of(measured.shot, measured.points[:1], RELEASE_S, CAMERA) is None


def test_without_a_camera_the_path_ends_with_the_last_place() -> None:
    measured = invented()[0]
    found = flight_of(measured.shot, measured.points, RELEASE_S)
    assert found is not None
    assert found.times_s[-1] == measured.points[-1].time_s


def test_the_path_grows_and_labels_come_with_their_events() -> None:
    path = flight()
    painter = OverlayPainter(SIZE, [path])
    blank = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)
    counts, seen = [], []
    for time_s in (RELEASE_S - 0.1, RELEASE_S + 0.3, RELEASE_S + 0.8, path.times_s[-1] + 0.1):
        frame = blank.copy()
        painter.paint(frame, float(time_s))
        ahead = path.pixels[path.times_s > time_s + 0.1]
        for column, row in ahead.round().astype(int):
            assert np.all(frame[row, column] == 90) or time_s > path.events[1].time_s
        counts.append(near(frame, PATH))
        seen.append(near(frame, SEEN))
    assert counts[0] == seen[0] == 0
    assert counts == sorted(counts) and seen == sorted(seen)
    frame = blank.copy()
    painter.paint(frame, float(path.times_s[-1]) + 10.0)
    assert np.array_equal(frame, blank)


def test_labels_lie_in_the_frame_and_off_each_other() -> None:
    painter = OverlayPainter(SIZE, [flight()])
    frame = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    painter.paint(frame, float(painter.flights[0].times_s[-1]))
    boxes = []
    for each, event in enumerate(painter.flights[0].events):
        left, top = painter._placed[0, each]
        height, width = label_sprite(event.words, painter.letters_px).shape[:2]
        assert left >= 0 and top >= 0 and left + width <= SIZE[0] and top + height <= SIZE[1]
        boxes.append((left, top, left + width, top + height))
    for place, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[place + 1 :]:
            apart = right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top
            assert apart


def test_a_flight_that_is_over_makes_room_for_the_next_and_one_in_the_air_does_not() -> None:
    first = flight()
    end_s = float(first.times_s[-1])
    blank = np.full((SIZE[1], SIZE[0], 3), 90, np.uint8)

    def shown(gap_s: float, at_s: float) -> list[int]:
        later = replace(first, times_s=first.times_s - first.times_s[0] + end_s + gap_s)
        painter = OverlayPainter(SIZE, [first, later])
        asked: list[int] = []
        painter.paint_flight = lambda _, number, __: asked.append(number)  # type: ignore[method-assign]
        painter.paint(blank.copy(), at_s)
        return asked

    assert shown(1.0, end_s + 0.9) == [0]
    assert shown(1.0, end_s + 1.1) == [1]
    assert shown(-1.0, end_s - 0.5) == [0, 1]


def test_ticks_of_a_crowded_flight_stay_apart() -> None:
    painter = OverlayPainter(SIZE, [flight()])
    frame = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    places = np.column_stack([np.linspace(200.0, 1000.0, 801), np.full(801, 500.0)])
    painter._tick_places(frame, places)
    aside = round(500 - 0.5 * sum(TICKS) * painter.letters_px)
    seen = (np.abs(frame[aside, 200:1000].astype(int) - SEEN).max(axis=1) < 60).mean()
    assert 0.1 < seen < 0.5


def test_every_event_has_the_sign_that_it_has_everywhere() -> None:
    painter = OverlayPainter(SIZE, [flight()])
    for event in flight().events:
        frame = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
        painter._placed = {(0, each): (0, 0) for each in range(3)}
        painter._paint_event(frame, 0, 0, event)
        for right, down in CORNERS[EVENTS[event.sign]]:
            column, row = np.array(event.pixel) + SIGN * painter.thick_px * np.array([right, down])
            around = frame[round(row) - 2 : round(row) + 3, round(column) - 2 : round(column) + 3]
            assert near(around, PATH) > 0


def test_no_label_covers_the_flight() -> None:
    painter = OverlayPainter(SIZE, [flight()])
    painter._place_labels(0)
    path = flight().pixels
    for each, event in enumerate(flight().events):
        left, top = painter._placed[0, each]
        height, width = label_sprite(event.words, painter.letters_px).shape[:2]
        inside = (path >= (left, top)) & (path <= (left + width, top + height))
        assert not inside.all(axis=1).any()


def test_a_label_beyond_the_frame_is_cut_off() -> None:
    frame = np.zeros((40, 60, 3), np.uint8)
    sprite = np.full((20, 30, 3), 200, np.uint8)
    lay(frame, sprite, (-10, 30), 1.0)
    assert np.all(frame[30:40, :20] == 200)
    assert frame.astype(int).sum() == 200 * 3 * 10 * 20
    lay(frame, sprite, (100, 0))
    assert frame.astype(int).sum() == 200 * 3 * 10 * 20


def a_clip(path: Path, fps: float = 30.0, **style: object) -> Path:
    """A second of a grey clip with a beep of sound from 0.5 s on."""
    silent = path.with_name("silent.mp4")
    with ClipWriter(silent, (320, 180), fps, **style) as writer:
        for _ in range(round(fps)):
            writer.write_bgr(np.full((180, 320, 3), 90, np.uint8))
    with av.open(str(silent)) as source, av.open(str(path), "w") as target:
        film = target.add_stream_from_template(source.streams.video[0])
        sound = target.add_stream("aac", rate=44100, layout="mono")
        for packet in source.demux(source.streams.video[0]):
            if packet.dts is not None:
                packet.stream = film
                target.mux(packet)
        times = np.arange(44100) / 44100.0
        wave = (0.4 * np.sin(2 * np.pi * 880 * times) * (times >= 0.5)).astype(np.float32)
        for at in range(0, len(wave) - 1024, 1024):
            frame = av.AudioFrame.from_ndarray(wave[None, at : at + 1024], "fltp", "mono")
            frame.sample_rate, frame.pts = 44100, at
            target.mux(sound.encode(frame))
        target.mux(sound.encode(None))
    return path


def loudness(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times and sizes of the sound in a file."""
    with av.open(str(path)) as source:
        parts = [
            (float(frame.pts * frame.time_base), float(np.abs(frame.to_ndarray()).mean()))
            for frame in source.decode(audio=0)
        ]
    return np.array([at for at, _ in parts]), np.array([size for _, size in parts])


def test_the_film_plays_anywhere_at_the_speed_of_life_with_its_sound(tmp_path: Path) -> None:
    facts = inspect(a_clip(tmp_path / "a.mp4"))
    done: list[tuple[int, int]] = []
    to = tmp_path / "overlay.mp4"
    write_overlay(facts, OverlayPainter((320, 180), []), to, 1.0, lambda *at: done.append(at))
    with av.open(str(to)) as made:
        video = made.streams.video[0]
        assert (video.codec_context.name, video.codec_context.pix_fmt) == ("h264", "yuv420p")
        assert (video.width, video.height, video.frames) == (320, 180, 30)
        assert float(video.duration * video.time_base) == pytest.approx(1.0, abs=0.05)
    content = to.read_bytes()
    assert content.index(b"moov") < content.index(b"mdat")
    times, sizes = loudness(to)
    assert sizes[times < 0.4].max() < 0.02 < sizes[(times > 0.6) & (times < 0.9)].min()
    assert done[-1] == (30, 30)


def test_a_slow_film_lasts_longer_and_is_silent(tmp_path: Path) -> None:
    facts = inspect(a_clip(tmp_path / "a.mp4"))
    to = tmp_path / "overlay.mp4"
    write_overlay(facts, OverlayPainter((320, 180), []), to, 4.0, lambda *_: None)
    with av.open(str(to)) as made:
        assert not made.streams.audio
        video = made.streams.video[0]
        assert float(video.duration * video.time_base) == pytest.approx(4.0, abs=0.2)
        assert video.frames == 30


def test_slow_motion_plays_at_the_speed_of_life_and_turned_clips_upright(tmp_path: Path) -> None:
    tags = {"com.android.capture.fps": "120.0"}
    path = a_clip(tmp_path / "a.mp4", 120.0, file_fps=30.0, tags=tags, rotation_deg=90)
    facts = inspect(path, 120.0)
    to = tmp_path / "overlay.mp4"
    write_overlay(facts, OverlayPainter(facts.size_px, []), to, 1.0, lambda *_: None)
    with av.open(str(to)) as made:
        video = made.streams.video[0]
        assert (video.width, video.height, video.frames) == (180, 320, 60)
        assert float(video.duration * video.time_base) == pytest.approx(1.0, abs=0.05)
        assert not made.streams.audio


@pytest.mark.parametrize(
    ("fps", "slow", "every", "file_fps"),
    [(30, 1, 1, 30), (60, 1, 1, 60), (240, 1, 4, 60), (240, 4, 1, 60), (120, 8, 1, 15)],
)
def test_the_pace_keeps_to_what_a_screen_shows(
    fps: float, slow: float, every: int, file_fps: float, tmp_path: Path
) -> None:
    with ClipWriter(tmp_path / "a.mp4", (64, 48), fps) as writer:
        for _ in range(12):
            writer.write_bgr(np.full((48, 64, 3), 90, np.uint8))
    pace = pace_of(inspect(tmp_path / "a.mp4", fps), slow)
    assert pace.every == every
    assert pace.file_fps == pytest.approx(file_fps, rel=0.01)
    assert Pace(2, 30.0, 3.0).file_fps == 10.0


def test_the_still_has_the_ball_of_every_frame(tmp_path: Path) -> None:
    columns = 20 + 12 * np.arange(20)
    with ClipWriter(tmp_path / "a.mp4", (320, 180), 30, crf=12) as writer:
        for column in columns:
            frame = np.full((180, 320, 3), 90, np.uint8)
            cv2.circle(frame, (int(column), 90), 3, (255, 255, 255), -1)
            writer.write_bgr(frame)
    measured = invented()[0]
    points = [
        replace(point, frame=index, time_s=index / 30, column_px=float(columns[index]), row_px=90.0,
                residual_column_px=0.0, residual_row_px=0.0, used=True)
        for index, point in enumerate(measured.points[:20])
    ]  # fmt: skip
    found = flight_of(measured.shot, points, 0.0)
    assert found is not None
    facts = inspect(tmp_path / "a.mp4")
    (still,) = flight_stills(facts, OverlayPainter((320, 180), [found]), [range(20)])
    image = cv2.imdecode(np.frombuffer(still, np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    ticked = image[75:106, 60:240].astype(int)
    orange = ticked[:, :, 2] - ticked[:, :, 0] > 50
    assert orange[:12].sum() > 50 and orange[-12:].sum() > 50
    clear = [column for column in columns[2:-2] if column > 60]
    assert sum(int(image[90, column].min()) > 200 for column in clear) > 0.7 * len(clear)
