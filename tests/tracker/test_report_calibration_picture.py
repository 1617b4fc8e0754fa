"""The picture and the words of a calibration, of cameras that are known."""

import io
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from rich.console import Console

from calibration.camera import looking_at
from calibration.markers import Marker
from calibration.site import Calibration, Site, draw, solve
from calibration.site.blunders import Suspect
from tracker.records import Quality
from tracker.report.calibration_picture import (
    HEADING_INCHES,
    LABEL_PX,
    PLAN_INCHES,
    _below,
    _plan_limits,
    _shown_rows,
    calibration_picture,
    verdict,
)
from tracker.report.calibration_words import (
    markers_table,
    next_step,
    remedy_sentences,
    verdict_sentence,
)
from tracker.report.look import STAMPS

SLIPS = (0.0, 1.0, -1.0, 1.0, 0.0)
"""How far each marker is taped wrong, as a share of the slip."""


def solved(size: tuple[int, int] = (1280, 720), slip_m: float = 0.0) -> Calibration:
    """A line of five markers; with a slip three are taped wrong, so that none alone explains it."""
    rng = np.random.default_rng(8)
    focal = 0.75 * max(size)
    camera = looking_at((20.0, -38.0 * max(size) / size[0], 2.5), (20.0, 0.0, 3.0), focal, size)
    ground = [np.array([along, 0.0, 0.0]) for along in (0.0, 10.0, 20.0, 30.0, 40.0)]
    markers = []
    for number, point in enumerate(ground):
        pixel = camera.project(point[None])[0] + 0.5 * rng.normal(size=2)
        taped = point + slip_m * SLIPS[number] * np.array([1.0, 0.0, 0.0])
        markers.append(Marker(f"cone [b]${number}$", taped, 0.02, pixel, 0.7))
    return solve(
        Site(size, tuple(markers), position_m=camera.position, field_of_view_deg=67.4)
        if size[0] > size[1]
        else Site(size, tuple(markers), position_m=camera.position)
    )


def opened(content: bytes) -> np.ndarray:
    image = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    assert image is not None
    return image


def frame(size: tuple[int, int]) -> np.ndarray:
    return np.full((size[1], size[0], 3), (70, 110, 80), np.uint8)


def near(image: np.ndarray, colour: str, reach: int = 30) -> int:
    wanted = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
    return int(np.all(np.abs(image[:, :, ::-1].astype(int) - wanted) <= reach, axis=2).sum())


@cache
def pictured(size: tuple[int, int]) -> bytes:
    return calibration_picture(solved(size), frame(size), "clips/a.mp4")


@pytest.mark.parametrize(
    "size", [(1280, 720), pytest.param((720, 1280), marks=pytest.mark.campaign)]
)
def test_the_rows_that_hold_the_ground_are_shown_in_true_proportion(size: tuple[int, int]) -> None:
    calibration = solved(size)
    first, after = _shown_rows(draw(calibration), (size[1], size[0], 3))
    image = opened(pictured(size))
    assert image.shape[1] == 1920
    ground = np.all(np.abs(image.astype(int) - (70, 110, 80)) <= 12, axis=2)
    top = int(np.flatnonzero(ground.sum(axis=1) > 400)[0])
    width = int(ground[top + 5].sum())
    height = round(width * (after - first) / size[0])
    assert int(ground[top + height - 5].sum()) == width
    bands = 150 * (HEADING_INCHES + 2.35 + PLAN_INCHES[1] + 1.0)
    assert image.shape[0] == pytest.approx(bands + height, abs=4)
    assert width == min(1920, round(1500 * size[0] / (after - first)))


@pytest.mark.parametrize("size", [(1280, 720), (720, 1280)])
def test_the_shown_rows_hold_all_that_is_drawn_and_little_sky(size: tuple[int, int]) -> None:
    drawing = draw(solved(size))
    first, after = _shown_rows(drawing, (size[1], size[0], 3))
    assert 0 <= first < after <= size[1]
    assert after - first < 0.75 * size[1]
    drawn = [*drawing.grid, *drawing.firing_line, *(each.outline_px for each in drawing.ellipses)]
    rows = np.clip(np.concatenate(drawn)[:, 1], 0, size[1])
    assert rows.min() - first > 0.05 * size[0]
    assert after - rows.max() > 0.05 * size[0] or after == size[1]


def test_the_title_is_a_verdict() -> None:
    good = solved((1280, 720))
    assert verdict(good) == "the markers agree with each other"
    assert verdict(replace(good, p_value=1e-9)) == "the observations do not agree"
    assert "nothing checks it" in verdict(replace(good, dof=0, p_value=1.0))
    suspects = (Suspect("off left", 9.0, "taped elsewhere"),)
    said = verdict(replace(good, suspects=suspects))
    assert said == "the markers do not agree; look at off left"


def test_the_metres_stand_close_below_their_ticks() -> None:
    drawing = draw(solved((1280, 720)))
    feet = [tick.ends_px for tick in drawing.ticks]
    rows = [_below(ends, replace(drawing, arrows=()), 1.0) for ends in feet]
    assert [row - float(ends[:, 1].max()) for row, ends in zip(rows, feet, strict=True)] == [
        pytest.approx(LABEL_PX)
    ] * len(feet)
    # An arrow across the place of a label puts it lower, and leaves the others where they are.
    at = feet[1][1] + (0.0, LABEL_PX)
    arrow = replace(drawing.arrows[0], picked_px=at, tip_px=at + 5.0)
    moved = [_below(ends, replace(drawing, arrows=(arrow,)), 1.0) for ends in feet]
    assert moved[1] >= rows[1] + LABEL_PX and moved[2:] == rows[2:]


@pytest.mark.long
def test_a_slip_is_stamped_and_the_truth_is_not() -> None:
    size = (1280, 720)
    good = opened(calibration_picture(solved(), frame(size), "a"))
    bad = opened(calibration_picture(solved(slip_m=2.0), frame(size), "a"))
    stamp = STAMPS[Quality.REJECTED]
    assert near(good[:100], stamp) == 0
    assert near(bad[:100], stamp) > 500


@pytest.mark.long
def test_the_same_calibration_gives_the_same_bytes() -> None:
    size = (1280, 720)
    assert calibration_picture(solved(size), frame(size), "clips/a.mp4") == pictured(size)


@pytest.mark.parametrize("across", [0.1, 3.0, 60.0])
def test_the_plan_is_true_to_scale_and_holds_the_line(across: float) -> None:
    points = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, across], [40.0, -across]])
    (left, right), (bottom, top) = _plan_limits(points)
    assert (right - left) / PLAN_INCHES[0] == pytest.approx((top - bottom) / PLAN_INCHES[1])
    assert left < 0.0 < 40.0 < right
    assert right - left < 2.1 * 44.0


def table_text(calibration: Calibration) -> str:
    file = io.StringIO()
    Console(file=file, width=100).print(markers_table(calibration))
    return file.getvalue()


def test_the_table_holds_what_the_calibration_says() -> None:
    calibration = solved(slip_m=2.0)
    suspect = Suspect(calibration.markers[2], calibration.w[2], "taped elsewhere")
    calibration = replace(calibration, suspects=(suspect,))
    lines = table_text(calibration).splitlines()
    for place, name in enumerate(calibration.markers):
        row = next(line for line in lines if name in line).split(name)[1]
        assert ("suspect" in row) == (place == 2)
        cells = [float(cell) for cell in row.removeprefix(", suspect").split()]
        assert cells[:2] == pytest.approx(calibration.residuals_px[place], abs=0.006)
        shift = 100 * np.linalg.norm(calibration.ground_residuals_m[place])
        assert cells[2] == pytest.approx(shift, abs=0.06)
        assert cells[3:5] == pytest.approx(calibration.redundancy[place], abs=0.006)
        assert cells[5] == pytest.approx(calibration.w[place], abs=0.06)
    assert calibration.w[2] == max(calibration.w)


def test_the_verdict_and_the_remedies() -> None:
    good, bad = solved(), solved(slip_m=2.0)
    said = verdict_sentence(good)
    assert said.startswith("The observations agree within their uncertainties: ")
    assert said.endswith(f"(chi-square {good.chi_square:.1f}, {good.dof} degrees of freedom).")
    said = verdict_sentence(bad)
    assert said.startswith(
        "The observations do not agree within their uncertainties: fewer than 1 "
    )
    for p, words in ((1.0, "nearly every"), (0.98, "98 of 100"), (0.004, "4 of 1000")):
        assert f": {words} right set" in verdict_sentence(replace(good, p_value=p))
    weak = good.weakest
    step = next_step(good)
    assert step.startswith(f"{weak.remedies[0].text}: {weak.quantity}, u = {weak.u:.2g}")
    assert f"becomes {weak.remedies[0].u:.2g}" in step
    for one in remedy_sentences(good):
        assert f"{good.weakest.quantity} to u = " in one
        assert one.split(":")[0] not in good.weakest.text


def test_ellipses_and_ticks_lie_where_the_markers_do() -> None:
    drawing = draw(solved())
    assert {tick.along_m for tick in drawing.ticks} >= {0.0, 10.0, 20.0, 30.0, 40.0}
    assert len(drawing.ellipses) == 5
