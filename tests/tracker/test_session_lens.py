"""A lens file read back as what was measured."""

from pathlib import Path

import numpy as np
import pytest

from calibration.errors import InputError
from tracker.session import read_lens

VARIANCES = [1e-6, 4.0, 4.0, 1e-5, 1e-4, 1e-8, 1e-8, 1e-4]


def text(covariance: np.ndarray | None = None) -> str:
    matrix = np.diag(VARIANCES) if covariance is None else covariance
    return (
        'device = "phone A"\nzoom = "1x"\nsize_px = [1920, 1080]\nfocal_px = 1450.5\n'
        "centre_px = [961.2, 538.9]\ndistortion = [0.05, -0.1, 0.0, 0.0001, 0]\n"
        f"covariance = {matrix.tolist()}\n"
    )


def test_every_field_arrives(tmp_path: Path) -> None:
    path = tmp_path / "lens.toml"
    path.write_text(text(), encoding="utf-8")
    lens = read_lens(path)
    assert (lens.device, lens.zoom, lens.size_px) == ("phone A", "1x", (1920, 1080))
    assert lens.focal_px == 1450.5
    assert lens.centre_px.tolist() == [961.2, 538.9]
    assert lens.distortion.tolist() == [0.05, -0.1, 0.0, 0.0001, 0.0]
    assert np.diag(lens.covariance).tolist() == VARIANCES


NEGATIVE = np.diag([*VARIANCES[:7], -1e-4])
LOPSIDED = np.diag(VARIANCES) + np.eye(8, k=1) * 1e-9


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("focal_px", "focal", ["lens.toml, line 4, focal:", "mean focal_px?"]),
        ("1450.5", '"1450"', ["lens.toml, line 4, focal_px", "is not a number"]),
        ("[961.2, 538.9]", "[961.2]", ["centre_px", "column, row"]),
        ("0.0001, 0]", "0.0001]", ["distortion", "5 numbers", "k1, k2, p1, p2, k3"]),
        ("covariance = [", "covariance = [[1.0],", ["covariance", "8 rows of 8 numbers"]),
        (str(np.diag(VARIANCES).tolist()), str(NEGATIVE.tolist()), ["not a covariance"]),
        (str(np.diag(VARIANCES).tolist()), str(LOPSIDED.tolist()), ["not a covariance"]),
    ],
)
def test_each_fault_names_file_and_field(
    tmp_path: Path, before: str, after: str, words: list[str]
) -> None:
    assert before in text()
    path = tmp_path / "lens.toml"
    path.write_text(text().replace(before, after, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_lens(path)
    assert any(all(part in one for part in words) for one in caught.value.sentences())


def test_a_missing_file_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_lens(tmp_path / "lens.toml")
