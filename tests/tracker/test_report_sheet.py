"""A sheet of pixels: what is drawn lies where its inches say, and nothing beyond its part."""

import subprocess
import sys

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.report.labels import Box
from tracker.report.lettering import width_inches
from tracker.report.look import DOTS_PER_INCH
from tracker.report.sheet import Letters, Sheet, crosses, level, outline

WHITE = "#ffffff"
RED = "#ff0000"


def blank(wide: float = 2.0, tall: float = 1.0) -> Sheet:
    return Sheet.empty((wide, tall), WHITE)


def inked(sheet: Sheet) -> np.ndarray:
    """Left, top, right and bottom of what differs from white by half, inches."""
    rows, columns = np.nonzero(sheet.pixels.min(axis=2) < 128)
    edges = [columns.min(), rows.min(), columns.max() + 1, rows.max() + 1]
    return np.array(edges) / DOTS_PER_INCH


def test_colours_are_blue_green_red_and_a_blank_sheet_has_one() -> None:
    assert level("#123456") == (0x56, 0x34, 0x12)
    sheet = Sheet.empty((0.5, 0.25), "#123456")
    assert sheet.pixels.shape == (round(0.25 * DOTS_PER_INCH), 75, 3)
    assert np.all(sheet.pixels == (0x56, 0x34, 0x12))


def test_a_box_is_filled_as_far_as_its_edges_and_mixed_by_its_opacity() -> None:
    sheet = blank()
    sheet.fill(Box(0.2, 0.4, 1.0, 0.6), RED)
    assert np.all(sheet.pixels[60:90, 30:150] == (0, 0, 255))
    sheet.pixels[60:90, 30:150] = 255
    assert np.all(sheet.pixels == 255)
    sheet.fill(Box(0.0, 0.0, 2.0, 1.0), "#000000", 0.6)
    assert np.all(sheet.pixels == 102)


def test_nothing_shows_beyond_a_part_and_its_inches_begin_at_its_corner() -> None:
    sheet = blank()
    part = sheet.part(Box(0.5, 0.2, 1.0, 0.6))
    part.fill(Box(-1.0, -1.0, 3.0, 0.1), RED)
    part.line(np.array([[-5.0, 0.2], [5.0, 0.2]]), RED, 3.0)
    part.write((0.0, 0.3), "m" * 40, Letters(12.0, colour="#000000", casing=1.0))
    assert np.all(sheet.pixels[30:45, 75:150] == (0, 0, 255))
    sheet.pixels[30:90, 75:150] = 255
    assert np.all(sheet.pixels == 255)
    sheet.part(Box(3.0, 0.0, 4.0, 1.0)).fill(Box(0.0, 0.0, 1.0, 1.0), RED)


def test_a_line_is_as_wide_as_its_points_and_ends_at_what_is_not_finite() -> None:
    sheet = blank()
    path = np.array([[0.1, 0.5], [0.5, 0.5], [np.nan, np.nan], [1.5, 0.5], [1.9, 0.5]])
    sheet.line(path, "#000000", 2.4)
    column = sheet.pixels[:, 45, 0]
    assert (255 - column.astype(int)).sum() / 255 == pytest.approx(2.4 * 150 / 72, abs=1.2)
    assert np.flatnonzero(column < 255).mean() == pytest.approx(74.5, abs=0.6)
    assert np.all(sheet.pixels[:, 90:210] == 255)
    assert np.any(sheet.pixels[:, 225:285] < 255)


@pytest.mark.parametrize("points", [0.9, 1.7, 3.4])
def test_a_segment_is_square_at_its_ends_and_as_wide_as_its_points(points: float) -> None:
    sheet = blank()
    ends = np.array([[[0.5, 0.2], [0.5, 0.8]], [[np.nan, 0.0], [1.0, 0.0]], [[1.0, 0.5]] * 2])
    sheet.segments(ends, "#000000", points)
    cover = (255.0 - sheet.pixels[:, :, 0]).sum(axis=1) / 255.0
    assert cover[40:110] == pytest.approx(np.full(70, points * 150 / 72), abs=0.7)
    assert inked(sheet)[[1, 3]] == pytest.approx((0.2, 0.8), abs=0.012)


def test_outlines_are_drawn_as_closed_lines_one_by_one() -> None:
    at = np.array([[0.5, 0.5], [0.56, 0.52], [1.4, 0.3]])
    together, one_by_one = blank(), blank()
    together.outlines(at[:, None] + outline("s", np.zeros(2), 9.0), "#b35c00", 0.8)
    for place in at:
        one_by_one.line(outline("s", place, 9.0), "#b35c00", 0.8, closed=True)
    assert np.any(together.pixels < 255)
    np.testing.assert_array_equal(together.pixels, one_by_one.pixels)
    blank().outlines(np.zeros((0, 4, 2)), "#b35c00", 0.8)


def test_dots_crosses_and_signs_lie_about_their_places() -> None:
    at = np.array([[0.5, 0.5]])
    for draw in (
        lambda sheet: sheet.dots(np.vstack([at, [[np.nan, 0.0]]]), 7.2, "#000000"),
        lambda sheet: sheet.segments(crosses(at, 14.4), "#000000", 1.5),
        lambda sheet: sheet.line(outline("s", at[0], 14.4), "#000000", 1.0, closed=True),
        lambda sheet: sheet.line(outline("^", at[0], 14.4), "#000000", 1.0, closed=True),
        lambda sheet: sheet.line(outline("v", at[0], 14.4), "#000000", 1.0, closed=True),
    ):
        sheet = blank()
        draw(sheet)
        assert inked(sheet) == pytest.approx((0.4, 0.4, 0.6, 0.6), abs=0.03)
    up, down = (outline(sign, at[0], 14.4) for sign in ("^", "v"))
    assert up[0, 1] == up[:, 1].min()
    assert down[0, 1] == down[:, 1].max()


@pytest.mark.parametrize("ha", ["left", "center", "right"])
def test_text_lies_at_its_place_as_wide_as_it_is_measured(ha: str) -> None:
    sheet, text = blank(4.0), "HEH 18.62 \N{PLUS-MINUS SIGN}0.08 H"
    wide = width_inches(text, 12.0)
    first = {"left": 2.0, "center": 2.0 - wide / 2, "right": 2.0 - wide}[ha]
    sheet.write((2.0, 0.5), text, Letters(12.0, colour="#000000", ha=ha))
    found = inked(sheet)
    assert found[[0, 2]] == pytest.approx((first, first + wide), abs=0.03)
    # A capital of DejaVu Sans is 0.729 of its size tall (1493 of 2048 units).
    assert found[[1, 3]] == pytest.approx((0.5 - 0.061, 0.5 + 0.061), abs=0.012)


def test_bold_letters_are_wider_and_a_wide_letter_is_measured_as_its_font_says() -> None:
    # DejaVu Sans, table hmtx: n is 1298 units of 2048 wide, in bold 1458.
    assert width_inches("n" * 20, 72.0) == pytest.approx(20 * 1298 / 2048, rel=4e-3)
    assert width_inches("n" * 20, 72.0, "bold") == pytest.approx(20 * 1458 / 2048, rel=4e-3)


def test_a_casing_surrounds_the_letters_on_every_side() -> None:
    plain, cased = blank(), blank()
    plain.write((0.5, 0.5), "H", Letters(12.0, colour="#22303c"))
    cased.write((0.5, 0.5), "H", Letters(12.0, colour="#22303c", casing=1.0))
    grown = np.array([-1.0, -1.0, 1.0, 1.0]) / 72.0
    assert inked(cased) - inked(plain) == pytest.approx(grown, abs=0.008)


def test_a_picture_is_laid_in_pixel_for_pixel_and_cut_off_at_the_edge() -> None:
    picture = np.random.default_rng(1).integers(0, 255, (30, 45, 3)).astype(np.uint8)
    sheet = blank()
    sheet.lay(picture, Box(0.2, 0.4, 0.5, 0.6))
    assert np.array_equal(sheet.pixels[60:90, 30:75], picture)
    sheet = blank()
    sheet.lay(picture, Box(-0.1, -0.1, 0.2, 0.1))
    assert np.array_equal(sheet.pixels[:15, :30], picture[15:, 15:])
    sheet.pixels[:15, :30] = 255
    sheet.lay(picture, Box(2.5, 0.0, 2.8, 0.2))
    assert np.all(sheet.pixels == 255)


def test_an_enlarged_pixel_is_a_square() -> None:
    picture = np.random.default_rng(2).integers(0, 255, (4, 4, 3)).astype(np.uint8)
    sheet = blank()
    sheet.lay(picture, Box(0.0, 0.0, 0.4, 0.4))
    assert np.array_equal(sheet.pixels[:60, :60], np.kron(picture, np.ones((15, 15, 1), np.uint8)))


def test_a_sheet_is_a_jpeg_whose_colours_are_not_halved() -> None:
    sheet = blank()
    sheet.pixels[:, ::2] = (0, 0, 255)
    sheet.pixels[:, 1::2] = (255, 0, 0)
    opened = cv2.imdecode(np.frombuffer(sheet.jpeg(), np.uint8), cv2.IMREAD_COLOR)
    assert opened is not None
    assert np.abs(opened.astype(int) - sheet.pixels).mean() < 20.0


@pytest.mark.campaign
def test_the_picture_of_a_shot_needs_no_plotting_library() -> None:
    code = (
        "import sys; from tests.tracker.invented_shot import invented, MARKERS;"
        "from tracker.report.shot_picture import ShotFrames, shot_picture;"
        "measured, ground, patches = invented();"
        "shot_picture(measured, ShotFrames(ground, patches, MARKERS));"
        "assert not any(name.startswith('matplotlib') for name in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], stderr=subprocess.PIPE, check=False)
    assert done.returncode == 0, done.stderr.decode()


@pytest.mark.parametrize("code", ["\udc80", "\ud83d", "\x00", "\n", "\x85", "\uffff", "\ue000"])
def test_what_is_no_letter_is_drawn_as_one_sign(code: str) -> None:
    """OpenCV ends the program at half of a surrogate pair, of a file name that is no UTF-8."""
    sheet, expected = blank(), blank()
    sheet.write((0.5, 0.5), f"a{code}b", Letters(12.0, casing=1.0))
    expected.write((0.5, 0.5), "a\N{REPLACEMENT CHARACTER}b", Letters(12.0, casing=1.0))
    assert np.array_equal(sheet.pixels, expected.pixels)
    assert width_inches(f"a{code}b", 12.0) == width_inches("a\N{REPLACEMENT CHARACTER}b", 12.0)


@given(st.text(max_size=12))
def test_any_text_is_as_wide_as_its_letters(text: str) -> None:
    sheet = blank(1.0)
    sheet.write((0.1, 0.5), text, Letters(9.0, casing=0.8))
    assert width_inches(text, 9.0) == pytest.approx(sum(width_inches(one, 9.0) for one in text))
