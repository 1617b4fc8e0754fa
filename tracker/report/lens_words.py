"""A measured lens in words."""

import math

from calibration.lens import PARAMETERS, LensMeasurement
from tracker.report.rounding import with_uncertainty

BENDS = ("k1", "k2", "p1", "p2", "k3")


def lens_sentences(found: LensMeasurement, looked_at: int) -> list[str]:
    """Return what a lens is, how well it is known, and from how much.

    Parameters
    ----------
    found : LensMeasurement
    looked_at : int
        Pictures in which the board was looked for.
    """
    lens, u = found.lens, dict(zip(PARAMETERS, found.lens.u, strict=True))
    width, height = lens.size_px
    # Of the pinhole alone: distortion moves the edges, k1 states the angle that it adds.
    view = 2.0 * math.degrees(math.atan(width / 2.0 / lens.focal_px))
    focal_u = lens.focal_px * u["log_focal"]
    slope = math.degrees(width / (lens.focal_px**2 + width**2 / 4.0))
    bends = ", ".join(
        f"{name} {value:z.4f} ±{u[name]:.4f}" if u[name] > 0 else f"{name} {value:g}, held"
        for name, value in zip(BENDS, lens.distortion, strict=True)
    )
    return [
        f"Frames of {width} x {height}: focal length "
        f"{with_uncertainty(lens.focal_px, focal_u)} px "
        f"({with_uncertainty(view, slope * focal_u)}° across the frame without its distortion).",
        f"Principal point {with_uncertainty(float(lens.centre_px[0]), u['centre_column'])}, "
        f"{with_uncertainty(float(lens.centre_px[1]), u['centre_row'])} px.",
        f"Distortion {bends}.",
        f"From {len(found.frames)} views of {looked_at} pictures, which cover "
        f"{100.0 * found.cover:.0f} % of the frame; the corners lie {found.rms_px:.2f} px off "
        "(root mean square).",
    ]
