"""The page to print, read back from the bytes of its PDF."""

import re
import struct
import zlib
from functools import cache

import cv2
import numpy as np
import pytest

from calibration.errors import InputError
from calibration.lens import Board
from tracker.report.board_sheet import A4_MM, board_pdf, caption

POINTS_PER_MM = 72.0 / 25.4
BOARDS = [Board(), Board(8, 5, 30.0), Board(9, 6, 25.0, 18.75), Board(5, 4, 40.0, 28.0)]


def streams(content: bytes) -> list[tuple[bytes, bytes]]:
    """Every stream with its dictionary."""
    found = re.findall(rb"<<((?:(?!endobj).)*?)>>\s*stream\r?\n(.*?)\r?\nendstream", content, re.S)
    assert found
    return found


def page_picture(content: bytes) -> tuple[np.ndarray, np.ndarray]:
    """The picture as it lies on the page, top row first, and its size on paper in mm."""
    drawing = next(
        zlib.decompress(body)
        for _, body in streams(content)
        if b"/Filter" in _ and b"Do Q" in zlib.decompress(body)
    )
    placed = re.search(rb"([\d.-]+) 0 0 ([\d.-]+) ([\d.-]+) ([\d.-]+) cm\s+/I1 Do", drawing)
    assert placed is not None
    wide, high, left, low = (float(value) for value in placed.groups())
    head, body = next((h, b) for h, b in streams(content) if b"/Subtype /Image" in h)
    width = int(re.search(rb"/Width (\d+)", head)[1])  # type: ignore[index]
    height = int(re.search(rb"/Height (\d+)", head)[1])  # type: ignore[index]
    assert b"/BitsPerComponent 1" in head
    palette = re.search(rb"/Indexed /DeviceRGB 1 \((.*?)\)\s*\]", head, re.S)
    assert palette is not None
    table = re.sub(rb"\\(\d{3})", lambda one: bytes([int(one[1], 8)]), palette[1])
    header = struct.pack(">IIBBBBB", width, height, 1, 3, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in ((b"IHDR", header), (b"PLTE", table), (b"IDAT", body), (b"IEND", b""))
    )
    image = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert image is not None
    assert wide > 0
    assert left == pytest.approx(0.0, abs=1e-6)
    assert low + min(high, 0.0) == pytest.approx(0.0, abs=1e-6)
    shown = image[::-1] if high < 0 else image
    return np.ascontiguousarray(shown), np.array([wide, abs(high)]) / POINTS_PER_MM


@cache
def sheet(board: Board) -> bytes:
    return board_pdf(board)


@pytest.mark.parametrize(
    "board",
    [
        BOARDS[0],
        *(pytest.param(each, marks=pytest.mark.campaign) for each in BOARDS[1:3]),
        BOARDS[3],
    ],
)
def test_the_printed_board_has_its_true_size_and_is_no_mirror_image(board: Board) -> None:
    content = sheet(board)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert box is not None
    # ISO 216: A4 is 210 mm x 297 mm.
    assert [float(side) / POINTS_PER_MM for side in box.groups()] == pytest.approx(A4_MM, abs=1e-3)
    image, paper_mm = page_picture(content)
    assert paper_mm == pytest.approx(A4_MM, abs=1e-3)
    assert np.array_equal(image, board.sheet(A4_MM).picture)
    small = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = board.find(small)
    assert found is not None
    assert len(found.pixels) == (board.columns - 1) * (board.rows - 1)
    on_paper = (found.pixels + 0.5) * paper_mm / (small.shape[1], small.shape[0])
    corners = found.corners_mm
    apart = np.linalg.norm(on_paper[0] - on_paper[-1])
    assert apart == pytest.approx(np.linalg.norm(corners[0] - corners[-1]), abs=0.15)
    if board.tag_mm is not None:
        # Tags tell which way the board lies: along its columns to the right, its rows down.
        assert on_paper - on_paper[0] == pytest.approx(corners - corners[0], abs=0.15)


def test_the_ruler_line_is_100_mm_of_black() -> None:
    image, paper_mm = page_picture(sheet(Board()))
    board_bottom = 10.0 + 6 * 25.0
    below = image[round((board_bottom + 5.0) * 12) :]
    longest = 0
    for row in below:
        dark = np.flatnonzero(np.diff(np.concatenate([[0], row < 128, [0]]).astype(int)))
        longest = max(longest, int(np.max(dark[1::2] - dark[::2], initial=0)))
    assert longest * paper_mm[0] / image.shape[1] == pytest.approx(100.0, abs=0.3)


def test_the_caption_says_what_to_type() -> None:
    assert caption(Board(9, 6, 25.0, 18.0)).endswith("CLIP --board charuco:9x6:25:18")
    assert "100 mm" in caption(Board())


@pytest.mark.long
def test_the_same_board_gives_the_same_bytes() -> None:
    assert board_pdf(Board()) == sheet(Board())


def test_a_board_too_large_for_the_page_is_refused() -> None:
    with pytest.raises(InputError, match="does not fit a page of 297 x 210 mm"):
        board_pdf(Board(9, 6, 40.0))
