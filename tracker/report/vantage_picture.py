"""A place to film from, drawn: the frame as the camera will show it, and the field from above."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.site import shown
from tracker.report.comparison_picture import COLOURS, png_of
from tracker.report.look import FAINT, INK, PAPER, cased, empty
from tracker.report.rounding import with_uncertainty
from tracker.report.vantage_facts import Moment, Surroundings, Vantage

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

WIDTH_INCHES, FRAME_INCHES = 12.8, 5.3
SKY, GROUND, DANGER = "#dbe6ee", "#dfeee2", "#a3243b"
FLIGHT, CAMERA = COLOURS[1], COLOURS[0]
RADIUS_95 = 2.4477
"""Radius that holds 95 % of a normal landing, in standard deviations (Rayleigh)."""

MOST_DOTS = 30
FAR_M = 1e5
SHAPES = {"release": "^", "apex": "D", "landing": "v"}


def vantage_picture(vantage: Vantage) -> bytes:
    """Return a PNG of a place to film from.

    Above, the frame as the camera will show it: horizon, markers, the flights that must stay in
    view, the ball at its true spacing; beside it the ball on the pixels of the frame. Below, the
    field from above: camera and view, line of fire and the strip to keep out of, markers, where
    the next ball lands with 95 %.

    Parameters
    ----------
    vantage : Vantage
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    limits = _plan_limits(vantage)
    (left, right), (bottom, top) = limits
    plan = float(np.clip(11.6 * (top - bottom) / (right - left), 2.2, 6.2))
    heights = [0.85, FRAME_INCHES + 0.35, plan + 1.15]
    whole = sum(heights)
    sheet = Figure(figsize=(WIDTH_INCHES, whole), facecolor=PAPER)
    FigureCanvasAgg(sheet)
    _draw_heading(sheet.add_axes((0, 1 - heights[0] / whole, 1, heights[0] / whole)), vantage)
    base = heights[2] + 0.2
    frame = sheet.add_axes(
        (0.3 / WIDTH_INCHES, base / whole, 9.4 / WIDTH_INCHES, FRAME_INCHES / whole)
    )
    _draw_frame(frame, vantage)
    _draw_close_ups(sheet, vantage, base / whole, whole)
    field = sheet.add_axes((0.8 / WIDTH_INCHES, 0.6 / whole, 11.6 / WIDTH_INCHES, plan / whole))
    _draw_plan(field, vantage, limits)
    return png_of(sheet)


def _draw_heading(axes: "Axes", vantage: Vantage) -> None:
    empty(axes)
    forecast = vantage.forecast
    words = ", ".join(
        f"{name} {with_uncertainty(forecast.values[key], forecast.u[key])} {unit}"
        for name, unit, key in (
            ("exit speed", "m/s", "exit_speed_mps"),
            ("launch angle", "°", "launch_angle_deg"),
            ("azimuth", "°", "azimuth_deg"),
            ("carry", "m", "carry_m"),
        )
    )
    axes.text(0.024, 0.66, f"One shot: {words}", fontsize=11, color=INK, va="center", weight="bold")
    axes.text(
        0.024,
        0.24,
        "What can be had from this place (± standard uncertainty). Dots: the ball, every "
        f"{_stride(vantage)} frames. Thin lines: shots one standard uncertainty faster, slower, "
        "steeper, flatter, aside.",
        fontsize=9,
        color=INK,
        va="center",
    )


def _stride(vantage: Vantage) -> int:
    return max(1, -(-len(vantage.around.frames_m) // MOST_DOTS))


def _draw_frame(axes: "Axes", vantage: Vantage) -> None:
    """Draw what the camera will show."""
    camera, around = vantage.forecast.camera, vantage.around
    width, height = camera.size_px
    axes.set_facecolor(GROUND)
    horizon = _horizon(camera)
    if len(horizon):
        axes.fill_between(horizon[:, 0], -0.5, horizon[:, 1], color=SKY, lw=0, zorder=0)
        axes.plot(*horizon.T, color=FAINT, lw=1.0, zorder=1)
    reach = float(np.max(around.line_m[:, 0]))
    line = np.linspace(around.line_m[0, 0], reach, 200)
    ground = np.column_stack([line, np.zeros_like(line), np.zeros_like(line)])
    axes.plot(*_seen(camera, ground).T, color=INK, lw=1.2, zorder=2)
    for tens in np.arange(np.ceil(line[0] / 10.0) * 10.0, reach, 10.0):
        tick = _seen(camera, np.array([[tens, -0.4, 0.0], [tens, 0.4, 0.0]]))
        axes.plot(*tick.T, color=INK, lw=1.2, zorder=2)
    for flight in around.flights_m[1:]:
        axes.plot(*_seen(camera, flight).T, color=FLIGHT, lw=0.7, alpha=0.55, zorder=3)
    dots = _seen(camera, around.frames_m[:: _stride(vantage)])
    axes.plot(*dots.T, "o", ms=3.6, color=FLIGHT, zorder=5)
    _draw_markers(axes, camera, around)
    for one in vantage.forecast.moments:
        if one.margin_px > 0.0:
            _draw_moment(axes, one, width)
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    axes.set_aspect("equal", anchor="C")
    axes.set_xticks([])
    axes.set_yticks([])
    for side in axes.spines.values():
        side.set_color(INK)


def _draw_markers(axes: "Axes", camera: Camera, around: Surroundings) -> None:
    """Draw markers as upright triangles with their names below."""
    width = camera.size_px[0]
    for name, place in around.markers:
        pixel = _seen(camera, place[None, :])[0]
        if not np.all(np.isfinite(pixel)):
            continue
        share = pixel[0] / width
        side = "left" if share < 0.06 else "right" if share > 0.94 else "center"
        axes.plot(*pixel, "^", ms=7, mfc=PAPER, mec=INK, mew=1.3, zorder=4)
        axes.annotate(
            name, (float(pixel[0]), float(pixel[1])), xytext=(0, -17), textcoords="offset points",
            fontsize=8, color=INK, ha=side, va="center", parse_math=False,
            path_effects=cased(2.4, PAPER), zorder=6,
        )  # fmt: skip


def _draw_moment(axes: "Axes", one: Moment, width: int) -> None:
    axes.plot(*one.pixel, SHAPES[one.name], ms=10, mfc="none", mec=INK, mew=1.5, zorder=6)
    share = float(one.pixel[0]) / width
    side = "left" if share < 0.16 else "right" if share > 0.84 else "center"
    column, row = (float(value) for value in one.pixel)
    # Below the ground line there is nothing but grass.
    above = one.name == "apex"
    axes.annotate(
        f"{one.name}: {one.diameter_px:.1f} px wide, {one.step_px:.0f} px a frame",
        (column, row),
        xytext=(0, 22) if above else (column, 0.05),
        textcoords="offset points" if above else ("data", "axes fraction"),
        ha=side,
        va="center",
        fontsize=8.5,
        color=INK,
        bbox={"boxstyle": "square,pad=0.25", "facecolor": PAPER, "edgecolor": INK, "lw": 0.7},
        arrowprops={"arrowstyle": "-", "color": INK, "lw": 0.8, "shrinkB": 6, "relpos": (
            {"left": 0.0, "center": 0.5, "right": 1.0}[side], 1.0 - above)},
        zorder=7,
    )  # fmt: skip


def _draw_close_ups(sheet: object, vantage: Vantage, base: float, whole: float) -> None:
    """Draw the ball on the pixels of the frame, as wide and as smeared as it will be."""
    from matplotlib.figure import Figure

    assert isinstance(sheet, Figure)
    moments = [one for one in vantage.forecast.moments if one.margin_px > 0.0]
    if not moments:
        return
    size = max(one.diameter_px + one.streak_px for one in moments)
    half = max(4, int(np.ceil(size / 2.0 + 1.5)))
    side = 1.42
    for place, one in enumerate(moments):
        bottom = base * whole + FRAME_INCHES - (place + 1) * side - place * 0.36
        axes = sheet.add_axes(
            (10.35 / WIDTH_INCHES, bottom / whole, side / WIDTH_INCHES, side / whole)
        )
        _draw_close_up(axes, one, half, place == 0)


def _draw_close_up(axes: "Axes", one: Moment, half: int, first: bool) -> None:
    from matplotlib.patches import Circle

    axes.set_facecolor("#ffffff")
    for at in np.arange(-half, half + 1):
        axes.axhline(at - 0.5, color=FAINT, lw=0.4, alpha=0.6)
        axes.axvline(at - 0.5, color=FAINT, lw=0.4, alpha=0.6)
    ends = np.linspace(-0.5, 0.5, 25)[:, None] * one.streak_px * one.way
    for column, row in ends:
        axes.add_patch(
            Circle((column, row), one.diameter_px / 2.0, color=FLIGHT, alpha=0.10, lw=0, zorder=2)
        )
    axes.add_patch(
        Circle((0.0, 0.0), one.diameter_px / 2.0, fill=False, color=INK, lw=1.4, zorder=3)
    )
    axes.set_xlim(-half - 0.5, half + 0.5)
    axes.set_ylim(half + 0.5, -half - 0.5)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_xlabel(
        f"{one.name}: {one.diameter_px:.1f} px, streak {one.streak_px:.1f} px",
        fontsize=8,
        color=INK,
    )
    if first:
        axes.set_title("on the frame's pixels", fontsize=8.5, color=INK, pad=4)


def _draw_plan(
    axes: "Axes", vantage: Vantage, limits: tuple[tuple[float, float], tuple[float, float]]
) -> None:
    """Draw the field from above, both axes to one scale."""
    from matplotlib.patches import Rectangle

    around, camera = vantage.around, vantage.forecast.camera
    (left, right), (bottom, top) = limits
    reach = 2.0 * float(np.hypot(right - left, top - bottom))
    axes.set_facecolor(GROUND)
    axes.fill(
        *_capsule(around.line_m, around.clear_m).T, facecolor="none", edgecolor=DANGER, hatch="///",
        alpha=0.35, lw=0.8, zorder=1, label=f"line of fire: nobody within {around.clear_m:g} m",
    )  # fmt: skip
    axes.annotate(
        "",
        (float(around.line_m[1, 0]), float(around.line_m[1, 1])),
        (float(around.line_m[0, 0]), float(around.line_m[0, 1])),
        arrowprops={"arrowstyle": "-|>", "color": DANGER, "lw": 1.3, "shrinkA": 0, "shrinkB": 0},
        zorder=3,
    )
    edges = _wedge(camera, reach)
    if edges is not None:
        axes.fill(
            *edges.T, facecolor=CAMERA, edgecolor=CAMERA, alpha=0.13, lw=1.0, zorder=2,
            label="in the frame",
        )  # fmt: skip
    flight = around.flights_m[0]
    axes.plot(flight[:, 0], flight[:, 1], color=FLIGHT, lw=1.8, zorder=4, label="expected shot")
    values, vectors = np.linalg.eigh(around.landing_covariance)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    outline = around.landing_m + circle @ (vectors * RADIUS_95 * np.sqrt(np.maximum(values, 0.0))).T
    axes.fill(
        *outline.T, facecolor=FLIGHT, edgecolor=FLIGHT, alpha=0.3, lw=1.2, zorder=4,
        label="next landing, 95 %",
    )  # fmt: skip
    places = np.array([place for _, place in around.markers]).reshape(-1, 3)
    axes.plot(
        places[:, 0], places[:, 1], "^", ms=7, mfc=PAPER, mec=INK, mew=1.3, ls="none", zorder=5,
        label="markers",
    )  # fmt: skip
    if around.box_m is not None:
        (low, high), (near, far) = around.box_m
        axes.add_patch(
            Rectangle(
                (low, near),
                high - low,
                far - near,
                fill=False,
                ec=INK,
                ls=(0, (5, 3)),
                lw=1.1,
                zorder=2,
                label="searched",
            )
        )
    x, y, z = (float(value) for value in camera.position)
    axes.plot(x, y, "s", ms=10, color=CAMERA, zorder=6)
    axes.annotate(
        f"camera, {z:.1f} m up", (x, y), xytext=(10, 0), textcoords="offset points", fontsize=9,
        color=INK, va="center", path_effects=cased(2.4, PAPER), zorder=7,
    )  # fmt: skip
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
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


def _plan_limits(vantage: Vantage) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the limits of the plan: camera, keep-out strip, markers and box, with room around."""
    around, camera = vantage.around, vantage.forecast.camera
    every = [
        camera.position[None, :2],
        _capsule(around.line_m, around.clear_m),
        *[flight[:, :2] for flight in around.flights_m],
    ]
    every += [place[None, :2] for _, place in around.markers]
    if around.box_m is not None:
        every.append(np.array(around.box_m).T)
    points = np.concatenate(every)
    low, high = points.min(axis=0), points.max(axis=0)
    room = 0.04 * float(np.max(high - low)) + 1.0
    (left, bottom), (right, top) = low - room, high + room
    return (float(left), float(right)), (float(bottom), float(top))


def _capsule(line: Array, radius: float) -> Array:
    """Return the outline, shape (N, 2), of all that is within a radius of a stretch of line."""
    way = line[1] - line[0]
    angle = float(np.arctan2(way[1], way[0]))
    turn = np.linspace(-np.pi / 2.0, np.pi / 2.0, 25)
    far = line[1] + radius * np.column_stack([np.cos(angle + turn), np.sin(angle + turn)])
    turn = turn + np.pi
    near = line[0] + radius * np.column_stack([np.cos(angle + turn), np.sin(angle + turn)])
    outline: Array = np.concatenate([far, near, far[:1]])
    return outline


def _wedge(camera: Camera, reach: float) -> Array | None:
    """Return the camera's view from above, shape (3, 2); None where it looks straight down."""
    width, height = camera.size_px
    middle = (height - 1) / 2.0
    ways = camera.rays([[-0.5, middle], [width - 0.5, middle]])[:, :2]
    lengths = np.linalg.norm(ways, axis=1)
    if not np.all(lengths > 1e-3):
        return None
    ends = camera.position[:2] + reach * ways / lengths[:, None]
    return np.concatenate([camera.position[None, :2], ends])


def _horizon(camera: Camera) -> Array:
    """Return where the frame shows the horizon, shape (N, 2), from left to right."""
    heading = float(np.arctan2(camera.rotation[2, 1], camera.rotation[2, 0]))
    around = heading + np.radians(np.linspace(85.0, -85.0, 341))
    far = camera.position + FAR_M * np.column_stack(
        [np.cos(around), np.sin(around), np.zeros_like(around)]
    )
    pixels = camera.project(far)
    width = camera.size_px[0]
    near = np.isfinite(pixels).all(axis=1) & (np.abs(pixels[:, 0] - width / 2.0) < width)
    return pixels[near]


def _seen(camera: Camera, points: Array) -> Array:
    """Return the pixels of points, shape (N, 2); NaN for those that the frame does not show."""
    pixels = camera.project(points)
    pixels[~shown(camera, points)] = np.nan
    return pixels
