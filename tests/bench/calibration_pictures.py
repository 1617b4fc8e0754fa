"""Draw the pictures of docs/calibration.md: ``python -m tests.bench.calibration_pictures``."""

from pathlib import Path

import matplotlib
import numpy as np

matplotlib.use("Agg")

import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from calibration.camera import looking_at
from calibration.markers import Marker
from calibration.site import Site, draw, ground_covariances, ground_ellipses, solve

DOCS = Path(__file__).resolve().parents[2] / "docs"
SIZE = (1920, 1080)
FOCAL = 960.0 / np.tan(np.radians(32.5))
LINE = np.array([[x, 0.0, 0.0] for x in (0.0, 10.0, 20.0, 30.0, 40.0)])
TICKS = np.array([[x, 0.0, 0.0] for x in (10.0, 20.0, 30.0, 40.0)])
INK, SOFT, WARM = "#26323a", "#b9c4c9", "#c2571a"


def _stand(height_m: float = 1.6, pixel_u: float = 1.0, extra=(), **known) -> Site:
    rng = np.random.default_rng(3)
    camera = looking_at((20.0, -38.0, height_m), (20.0, 0.0, 3.0), FOCAL, SIZE, roll_rad=0.006)
    ground = np.array([*LINE, *extra]) if "only" not in known else np.array(known.pop("only"))
    pixels = camera.project(ground) + pixel_u * rng.normal(size=(len(ground), 2))
    markers = tuple(
        Marker(f"{g[0]:g} m", g, 0.02, p, pixel_u) for g, p in zip(ground, pixels, strict=True)
    )
    if known.pop("taped", False):
        known["position_m"] = camera.position
    return Site(
        SIZE,
        tuple(Marker(f"{i}", m.ground_m, m.u_m, m.pixel, m.pixel_u) for i, m in enumerate(markers)),
        **known,
    )


def _plan(axes: Axes, site: Site, title: str) -> None:
    solved = solve(site)
    ground = np.array([marker.ground_m for marker in site.markers])
    axes.axhline(0.0, color=SOFT, lw=1.0, zorder=0)
    for ellipse in ground_ellipses(solved.camera, TICKS):
        axes.fill(*ellipse.outline_m.T, color=WARM, alpha=0.35, lw=0)
        axes.plot(*ellipse.outline_m.T, color=WARM, lw=1.0)
    low = ground[:, 2] < 0.5
    axes.plot(*ground[low, :2].T, "o", color=INK, ms=4)
    axes.plot(*ground[~low, :2].T, "^", color=INK, ms=7)
    spread = np.sqrt(np.diag(ground_covariances(solved.camera, TICKS[-1:])[0]))
    axes.set_title(
        f"{title}\nat 40 m: u = {spread[0]:.2f} m along, {spread[1]:.2f} m across",
        fontsize=9,
        color=INK,
        loc="left",
    )
    axes.set_xlim(-4, 46)
    axes.set_ylim(-4, 12)
    axes.set_aspect("equal")


def layouts() -> None:
    """Draw the 95 % ellipses of landings in four layouts, seen from above."""
    figure, grid = plt.subplots(2, 2, figsize=(10.5, 4.9), layout="constrained")
    cases = (
        ("Line only, camera taped", _stand(taped=True)),
        ("Line and a 2 m pole at 40 m, camera taped", _stand(taped=True, extra=[(40.0, 0.0, 2.0)])),
        (
            "Rectangle 40 x 10 m, nothing else",
            _stand(only=[(0, 0, 0), (20, 0, 0), (40, 0, 0), (0, 10, 0), (40, 10, 0)]),
        ),
        (
            "Line, camera taped at 3 m, picked to 0.3 px",
            _stand(taped=True, height_m=3.0, pixel_u=0.3),
        ),
    )
    for axes, (title, site) in zip(grid.flat, cases, strict=True):
        _plan(axes, site, title)
    for axes in grid[1]:
        axes.set_xlabel("along (m)", fontsize=9)
    for axes in grid[:, 0]:
        axes.set_ylabel("across (m)", fontsize=9)
    figure.savefig(DOCS / "calibration-layouts.png", dpi=110)


def frame() -> None:
    """Draw the frame with the ground grid, ticks, residuals and ellipses."""
    site = _stand(height_m=3.0, taped=True)
    picture = draw(solve(site))
    figure, axes = plt.subplots(figsize=(10.5, 3.2), layout="constrained")
    for line in picture.grid:
        axes.plot(*line.T, color=SOFT, lw=0.8)
    for line in picture.firing_line:
        axes.plot(*line.T, color=INK, lw=1.4)
    for tick in picture.ticks:
        axes.plot(*tick.ends_px.T, color=INK, lw=1.0)
        if tick.along_m % 10 == 0:
            axes.text(tick.ends_px[0, 0], 724, f"{tick.along_m:g} m", ha="center", fontsize=8)
    for ellipse in picture.ellipses:
        axes.fill(*ellipse.outline_px.T, color=WARM, alpha=0.8, lw=0)
    for arrow in picture.arrows:
        axes.annotate(
            "",
            arrow.tip_px,
            arrow.picked_px,
            arrowprops={"arrowstyle": "->", "color": WARM, "lw": 1.4},
        )
        axes.plot(*arrow.picked_px, "o", color=INK, ms=3.5)
    axes.set_title(
        f"Residuals {picture.scale:g} times as long as they are; grid of "
        f"{picture.spacing_m:g} m; ellipses of 95 % in the frame",
        fontsize=9,
        color=INK,
        loc="left",
    )
    axes.set_xlim(-0.5, SIZE[0] - 0.5)
    axes.set_ylim(735, 575)
    axes.set_xlabel("column (px)", fontsize=9)
    axes.set_ylabel("row (px)", fontsize=9)
    figure.savefig(DOCS / "calibration-frame.png", dpi=110)


def height() -> None:
    """Draw what a higher camera and closer picking bring."""
    figure, axes = plt.subplots(figsize=(7.0, 3.6), layout="constrained")
    heights = np.linspace(0.8, 5.0, 15)
    for pixel_u, style in ((1.0, "-"), (0.3, "--")):
        spread = []
        for value in heights:
            solved = solve(_stand(height_m=float(value), pixel_u=pixel_u, taped=True))
            spread.append(np.sqrt(ground_covariances(solved.camera, TICKS[-1:])[0][1, 1]))
        axes.plot(
            heights, spread, style, color=WARM, lw=1.8, label=f"markers picked to {pixel_u:g} px"
        )
    axes.set_xlabel("height of the camera (m)", fontsize=9)
    axes.set_ylabel("u across of a landing at 40 m (m)", fontsize=9)
    axes.set_ylim(0)
    axes.grid(color=SOFT, lw=0.5)
    axes.legend(frameon=False, fontsize=9)
    figure.savefig(DOCS / "calibration-height.png", dpi=110)


if __name__ == "__main__":
    layouts()
    frame()
    height()
