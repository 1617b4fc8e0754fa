"""The field from above: camera and view, line of fire, markers, where the next ball lands."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.report.comparison_picture import COLOURS
from tracker.report.look import FAINT, INK, PAPER, cased
from tracker.report.vantage_frame import FLIGHT, GROUND
from tracker.vantage import ExpectedShots, Field, Vantage

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
Range = tuple[float, float]

DANGER, CAMERA = "#a3243b", COLOURS[0]

RADIUS_95 = 2.4477
"""Radius that holds 95 % of a normal landing, in standard deviations (Rayleigh)."""

LEAST_LEVEL = 1e-3
"""A unit ray whose level part is shorter than this has no heading."""


def draw_plan(axes: "Axes", vantage: Vantage, limits: tuple[Range, Range]) -> None:
    """Draw the field from above, both axes to one scale."""
    (left, right), (bottom, top) = limits
    axes.set_facecolor(GROUND)
    _draw_line_of_fire(axes, vantage.field)
    wedge = view_wedge(vantage.forecast.camera, 2.0 * float(np.hypot(right - left, top - bottom)))
    if wedge is not None:
        axes.fill(
            *wedge.T, facecolor=CAMERA, edgecolor=CAMERA, alpha=0.13, lw=1.0, zorder=2,
            label="in the frame",
        )  # fmt: skip
    _draw_shot(axes, vantage)
    places = np.array([one.ground_m for one in vantage.stand.site.markers]).reshape(-1, 3)
    axes.plot(
        places[:, 0], places[:, 1], "^", ms=7, mfc=PAPER, mec=INK, mew=1.3, ls="none", zorder=5,
        label="markers",
    )  # fmt: skip
    _draw_box(axes, vantage.field)
    x, y, z = (float(value) for value in vantage.forecast.camera.position)
    axes.plot(x, y, "s", ms=10, color=CAMERA, zorder=6)
    axes.annotate(
        f"camera, {z:.1f} m up", (x, y), xytext=(10, 0), textcoords="offset points", fontsize=9,
        color=INK, va="center", path_effects=cased(2.4, PAPER), zorder=7,
    )  # fmt: skip
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    _finish(axes)


def _draw_line_of_fire(axes: "Axes", field: Field) -> None:
    axes.fill(
        *capsule(field.line_m, field.clear_m).T, facecolor="none", edgecolor=DANGER, hatch="///",
        alpha=0.35, lw=0.8, zorder=1, label=f"line of fire: nobody within {field.clear_m:g} m",
    )  # fmt: skip
    start, end = ((float(x), float(y)) for x, y in field.line_m)
    axes.annotate(
        "",
        end,
        start,
        arrowprops={"arrowstyle": "-|>", "color": DANGER, "lw": 1.3, "shrinkA": 0, "shrinkB": 0},
        zorder=3,
    )


def _draw_shot(axes: "Axes", vantage: Vantage) -> None:
    """Draw the expected flight and the 95 % region of the next landing."""
    flight, shots = vantage.field.flights_m[0], vantage.shots
    axes.plot(flight[:, 0], flight[:, 1], color=FLIGHT, lw=1.8, zorder=4, label="expected shot")
    axes.fill(
        *landing_outline(shots).T, facecolor=FLIGHT, edgecolor=FLIGHT, alpha=0.3, lw=1.2, zorder=4,
        label="next landing, 95 %",
    )  # fmt: skip


def landing_outline(shots: ExpectedShots) -> Array:
    """Return the outline, shape (N, 2), of the 95 % region of the next landing."""
    values, vectors = np.linalg.eigh(shots.landing_covariance)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    outline: Array = circle @ (vectors * RADIUS_95 * np.sqrt(np.maximum(values, 0.0))).T
    return outline + shots.landing_m


def _draw_box(axes: "Axes", field: Field) -> None:
    """Draw the limits of a search."""
    from matplotlib.patches import Rectangle

    if field.box is None:
        return
    (low, high), (near, far), _ = field.box
    axes.add_patch(
        Rectangle(
            (low, near), high - low, far - near, fill=False, ec=INK, ls=(0, (5, 3)), lw=1.1,
            zorder=2, label="searched",
        )
    )  # fmt: skip


def _finish(axes: "Axes") -> None:
    axes.set_aspect("equal", adjustable="box", anchor="C")
    axes.set_xlabel("along the firing line, m", color=INK, fontsize=9)
    axes.set_ylabel("across, m (left is up)", color=INK, fontsize=9)
    axes.tick_params(colors=INK, labelsize=8.5)
    for spine in axes.spines.values():
        spine.set_color(FAINT)
    axes.legend(
        loc="lower center", bbox_to_anchor=(0.5, 1.0), fontsize=8.5, frameon=False, ncols=6,
        labelcolor=INK, columnspacing=1.4,
    )  # fmt: skip


def plan_limits(vantage: Vantage) -> tuple[Range, Range]:
    """Return the limits of the plan: camera, keep-out strip, markers and box, with room around."""
    field, camera = vantage.field, vantage.forecast.camera
    every = [
        camera.position[None, :2],
        capsule(field.line_m, field.clear_m),
        *[flight[:, :2] for flight in field.flights_m],
        *[marker.ground_m[None, :2] for marker in vantage.stand.site.markers],
    ]
    if field.box is not None:
        every.append(np.array(field.box[:2]).T)
    points = np.concatenate(every)
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.04 * float(np.max(high - low)) + 1.0
    (left, bottom), (right, top) = low - room, high + room
    return (float(left), float(right)), (float(bottom), float(top))


def capsule(line: Array, radius: float) -> Array:
    """Return the outline, shape (N, 2), of all that is within a radius of a stretch of line."""
    way = line[1] - line[0]
    angle = float(np.arctan2(way[1], way[0]))
    turn = np.linspace(-np.pi / 2.0, np.pi / 2.0, 25)
    far = line[1] + radius * np.column_stack([np.cos(angle + turn), np.sin(angle + turn)])
    turn = turn + np.pi
    near = line[0] + radius * np.column_stack([np.cos(angle + turn), np.sin(angle + turn)])
    outline: Array = np.concatenate([far, near, far[:1]])
    return outline


def view_wedge(camera: Camera, reach: float) -> Array | None:
    """Return the camera's view from above, shape (3, 2); None where it looks straight down."""
    width, height = camera.size_px
    middle = (height - 1) / 2.0
    ways = camera.rays([[-0.5, middle], [width - 0.5, middle]])[:, :2]
    lengths = np.linalg.norm(ways, axis=1)
    if not np.all(lengths > LEAST_LEVEL):
        return None
    ends = camera.position[:2] + reach * ways / lengths[:, None]
    return np.concatenate([camera.position[None, :2], ends])
