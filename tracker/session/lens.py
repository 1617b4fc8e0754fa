"""The lens file: what was measured of one lens once, written and read."""

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.lens import Lens
from tracker.session.document import Faults, read_document
from tracker.session.schema import LensSchema
from tracker.session.validate import validated


def read_lens(path: Path) -> Lens:
    """Read and check a lens file.

    Parameters
    ----------
    path : Path
        A TOML file with the fields of docs/formats.md.

    Returns
    -------
    Lens

    Raises
    ------
    InputError
        Where the file is missing or is not TOML.
    InputErrors
        With every field that is not as docs/formats.md has it.
    """
    document = read_document(path)
    faults = Faults(document)
    written = validated(LensSchema, document, faults)
    if written is not None and not _is_covariance(np.array(written.covariance)):
        faults.add(("covariance",), "is not a covariance", "measure the lens again")
    faults.raise_any()
    assert written is not None
    return Lens(
        focal_px=written.focal_px,
        centre_px=np.array(written.centre_px),
        distortion=np.array(written.distortion),
        covariance=np.array(written.covariance),
        size_px=(round(written.size_px[0]), round(written.size_px[1])),
        device=written.device,
        zoom=written.zoom,
    )


def lens_toml(lens: Lens) -> str:
    """Return a lens as the text of a lens file, which `read_lens` takes back to the last digit.

    Parameters
    ----------
    lens : Lens
    """
    lines = []
    for name, value in lens.to_dict().items():
        if name == "covariance":
            rows = ",\n".join(f"    {row!r}" for row in value)
            lines.append(f"covariance = [\n{rows},\n]")
        elif isinstance(value, str):
            # JSON's escapes are TOML's, but for the one control character that JSON lets through.
            quoted = json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
            lines.append(f"{name} = {quoted}")
        else:
            lines.append(f"{name} = {value!r}")
    return "\n".join(lines) + "\n"


def _is_covariance(found: NDArray[np.float64]) -> bool:
    """Return whether a square matrix is symmetric and has no negative eigenvalue."""
    scale = np.sqrt(np.maximum(np.diag(found), 0.0)) + 1e-30
    lowest = np.linalg.eigvalsh((found + found.T) / 2 / scale[:, None] / scale).min()
    return bool(np.allclose(found, found.T, rtol=1e-6, atol=0.0) and lowest >= -1e-6)
