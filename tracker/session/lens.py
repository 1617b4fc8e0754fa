"""The lens file: what was measured of one lens once, written and read."""

import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.lens import Lens
from tracker.session.read import read_toml
from tracker.session.table import Faults, Table

FACTORS = ("k1", "k2", "p1", "p2", "k3")
SIZE = len(FACTORS) + 3


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
    values, places = read_toml(path)
    faults = Faults(path.name, places)
    table = Table(values, (), "", faults)
    size = table.numbers("size_px", "width, height", (16.0, 20000.0), needed=True)
    focal = table.needed_number("focal_px", 10.0, 1e6)
    centre = table.numbers("centre_px", "column, row", (-20000.0, 20000.0), needed=True)
    bent = table.numbers("distortion", ", ".join(FACTORS), (-100.0, 100.0), needed=True)
    device, zoom = table.text("device"), table.text("zoom")
    covariance = _covariance(table)
    table.close()
    faults.raise_any()
    assert size is not None and centre is not None and bent is not None
    return Lens(
        focal_px=focal,
        centre_px=np.array(centre),
        distortion=np.array(bent),
        covariance=covariance,
        size_px=(round(size[0]), round(size[1])),
        device=device,
        zoom=zoom,
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


def _covariance(table: Table) -> NDArray[np.float64]:
    """Return the covariance, shape (8, 8); a fault is remembered where it cannot be one."""
    rows = table.rows("covariance", SIZE)
    found = np.zeros((SIZE, SIZE)) if rows is None else np.array(rows)
    scale = np.sqrt(np.maximum(np.diag(found), 0.0)) + 1e-30
    lowest = np.linalg.eigvalsh((found + found.T) / 2 / scale[:, None] / scale).min()
    if not np.allclose(found, found.T, rtol=1e-6, atol=0.0) or lowest < -1e-6:
        table.fault("covariance", "is not a covariance", "measure the lens again")
    return found
