"""What the documentation states as figures is what the code holds."""

import re
from pathlib import Path

import numpy as np

from calibration.site import observations, stand
from calibration.site.blunders import ALARM

DOCS = Path(__file__).resolve().parents[2] / "docs"
GUIDE = (DOCS / "calibration.md").read_text(encoding="utf-8")
METHOD = (DOCS / "methods" / "adjustment.md").read_text(encoding="utf-8")


def test_what_is_taken_for_granted_is_what_is_written():
    k1, k2, p1, p2 = observations.USUAL_DISTORTION_SD
    assert p1 == p2
    rows = (
        f"| {np.degrees(observations.USUAL_VIEW_RAD):.0f}° over the longer side of the frame | "
        f"{100 * observations.USUAL_LOG_FOCAL_SD:.0f} % towards wider views, "
        f"{100 * observations.LONG_LOG_FOCAL_SD:.0f} % towards narrower ones |",
        f"| middle of the frame | {100 * observations.CENTRE_SD_SHARE:g} % of the longer side |",
        f"| k1, k2 | 0 | {k1:g}, {k2:g} |",
        f"| p1, p2 | 0 | {p1:g} |",
    )
    for row in rows:
        assert row in GUIDE


def test_bounds_are_what_is_written():
    assert f"Below {ALARM:g}" in GUIDE
    assert f"p = {ALARM:g}" in METHOD
    assert stand.WIDEST_DEG < 180


def test_pictures_are_there():
    pictures = re.findall(r"\]\((calibration-[a-z]+\.png)\)", GUIDE)
    assert len(pictures) == 3
    for name in pictures:
        assert (DOCS / name).stat().st_size > 10_000


def test_coverage_table_keeps_its_promise():
    rows = [line for line in METHOD.splitlines() if re.match(r"\| (line|rectangle)", line)]
    assert len(rows) == 4
    for row in rows:
        held = float(row.split("|")[4].strip(" %"))
        assert 93.0 <= held <= 97.0
