"""Likely mistakes of a person: what each concerns, and the site as it would be without it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from calibration.markers import Marker
from calibration.site.stand import Site, is_line

Array = NDArray[np.float64]

MOST_MARKERS_TO_SWAP = 10
"""Markers up to which every one is left out in turn and every pair swapped: 55 adjustments, a
second of processor time."""

METRES_PER_FOOT, METRES_PER_YARD = 0.3048, 0.9144
"""Exact (International Yard and Pound Agreement, 1959)."""

UNITS_M = {"feet": METRES_PER_FOOT, "yards": METRES_PER_YARD}
"""Units in which a field may be taped by mistake, m: pitches are laid out in yards."""

ANYWHERE_M = 50.0
"""Standard uncertainty of a camera's position that may be wrong, m: it stands somewhere on the
field. Markers along one line alone would leave the camera open around that line."""

SMALLER = (2.0, 1.5, 3.0)
"""Times that a copy of a frame is smaller: half the size, and the steps between the usual heights
of 720, 1080 and 2160 rows (common practice, no source)."""

DISTINCT_M = 0.3
"""A corrected place nearer than this to the written one is no explanation, m: ten times how well
a marker is taped (common practice, no source)."""

WIDE = (
    "the lens bends straight lines more than a phone's, and how much is taken from the markers: "
    "measure it with lobmeter lens"
)


@dataclass(frozen=True)
class Mistake:
    """One likely mistake: what it concerns and the site without it.

    `keeps_all` says that all observations stay, `leaves_out` names a marker that does not. One
    that is `evident` in the picture goes before those that explain the site as well. `widens` says
    that it is nobody's mistake, but a lens that bends straight lines.
    """

    names: tuple[str, ...]
    text: str
    site: Site
    keeps_all: bool = False
    leaves_out: str = ""
    evident: bool = False
    widens: bool = False


def likely_mistakes(site: Site, doubtful: tuple[Marker, ...]) -> Iterator[Mistake]:
    """Yield the mistakes that a site may hold; only markers in `doubtful` are tried one by one."""
    picked = site.picked
    for marker in doubtful:
        yield from _miswritten(site, marker)
        left = tuple(other for other in picked if other is not marker)
        yield Mistake(
            (marker.name,),
            f'marker "{marker.name}" does not agree with the rest: its label, its coordinates '
            "or its pixel is wrong",
            replace(site, markers=left),
            leaves_out=marker.name,
        )
        column, row = (0.0, 0.0) if marker.pixel is None else marker.pixel
        if -0.5 <= row <= site.size_px[0] - 0.5 and -0.5 <= column <= site.size_px[1] - 0.5:
            turned = replace(marker, pixel=np.array([row, column]))
            yield Mistake(
                (marker.name,),
                f'column and row of the pixel of marker "{marker.name}" are swapped: '
                f"[{row:g}, {column:g}] agrees with the rest",
                replace(site, markers=tuple(turned if m is marker else m for m in picked)),
                keeps_all=True,
            )
    if len(picked) <= MOST_MARKERS_TO_SWAP:
        for one, other in combinations(picked, 2):
            swapped = {
                one.name: replace(one, pixel=other.pixel),
                other.name: replace(other, pixel=one.pixel),
            }
            yield Mistake(
                (one.name, other.name),
                f'markers "{one.name}" and "{other.name}" are swapped',
                replace(site, markers=tuple(swapped.get(m.name, m) for m in picked)),
                keeps_all=True,
            )
    if site.lens is None and not site.wide:
        yield Mistake(("lens",), WIDE, replace(site, wide=True), keeps_all=True, widens=True)
    yield from _mirrored(site)
    yield from _axes_swapped(site)
    yield from _in_other_units(site)
    yield from _rescaled(site)
    if site.position_m is not None:
        yield Mistake(
            ("camera position",),
            "the camera's taped position does not agree with the markers",
            replace(site, position_u_m=ANYWHERE_M),
        )
    if site.field_of_view_deg is not None and site.lens is None:
        yield Mistake(
            ("field of view",),
            f"the field of view of {site.field_of_view_deg:g}° does not agree with the markers",
            replace(site, field_of_view_deg=None),
        )
    if site.lens is not None:
        yield Mistake(
            ("lens",),
            "the lens does not agree with the markers: it may be another camera's, or another "
            "zoom's",
            replace(site, lens=None, field_of_view_deg=None),
        )


def _miswritten(site: Site, marker: Marker) -> Iterator[Mistake]:
    """Yield the slips in the coordinates of one marker that its own numbers suggest.

    The calibration can do without the marker, so it is left out until the slip is corrected.
    """
    along, across, up = marker.ground_m
    feet = METRES_PER_FOOT * marker.ground_m
    for better, text in (
        (np.array([across, along, up]), "along and across of marker {name} are swapped"),
        (np.array([along, -across, up]), "across of marker {name} has the wrong sign"),
        (feet, "the coordinates of marker {name} are in feet"),
    ):
        if np.linalg.norm(better - marker.ground_m) < DISTINCT_M:
            continue
        written = ", ".join(f"{value:.4g}" for value in better + 0.0)
        yield Mistake(
            (marker.name,),
            text.format(name=f'"{marker.name}"') + f": [{written}] agrees with the rest",
            replace(
                site,
                markers=tuple(
                    replace(marker, ground_m=better) if one is marker else one
                    for one in site.picked
                ),
            ),
            keeps_all=True,
            leaves_out=marker.name,
        )


def _axes_swapped(site: Site) -> Iterator[Mistake]:
    """Yield that along and across are swapped for every marker, or for the camera's position."""
    picked = site.picked
    if site.position_m is None:
        return
    turned = tuple(replace(m, ground_m=m.ground_m[[1, 0, 2]]) for m in picked)
    yield Mistake(
        tuple(marker.name for marker in picked),
        "along and across are swapped in the coordinates of the markers: along runs down the "
        "firing line",
        replace(site, markers=turned),
        keeps_all=True,
    )
    yield Mistake(
        ("camera position",),
        "along and across are swapped in the camera's position: along runs down the firing line",
        replace(site, position_m=site.position_m[[1, 0, 2]]),
        keeps_all=True,
    )


def _in_other_units(site: Site) -> Iterator[Mistake]:
    """Yield that the markers, or the camera's position, are written in feet or in yards."""
    picked = site.picked
    if site.position_m is None:
        return
    for unit, metres in UNITS_M.items():
        yield Mistake(
            tuple(marker.name for marker in picked),
            f"the coordinates of the markers are in {unit} and the camera's position is in metres: "
            f"multiply them by {metres:g}",
            replace(site, markers=tuple(replace(m, ground_m=metres * m.ground_m) for m in picked)),
            keeps_all=True,
        )
        yield Mistake(
            ("camera position",),
            f"the camera's position is in {unit} and the coordinates of the markers are in metres: "
            f"multiply it by {metres:g}",
            replace(site, position_m=metres * site.position_m),
            keeps_all=True,
        )


def _rescaled(site: Site) -> Iterator[Mistake]:
    """Yield that the pixels were picked on a smaller copy of the frame."""
    picked, frame = site.picked, np.array(site.size_px)
    for times in SMALLER:
        # The centre of the top-left pixel is at zero in either picture.
        larger = [times * (np.asarray(marker.pixel) + 0.5) - 0.5 for marker in picked]
        if np.any(np.array(larger) > frame - 0.5):
            continue
        width, height = frame / times
        yield Mistake(
            tuple(marker.name for marker in picked),
            f"the pixels were picked on a copy of the frame of {width:.0f} x {height:.0f}: "
            f"multiply them by {times:g}",
            _with_pixels(site, larger),
            keeps_all=True,
        )


def _mirrored(site: Site) -> Iterator[Mistake]:
    """Yield the ways to see a field from its wrong side, or upside down."""
    picked = site.picked
    names = tuple(marker.name for marker in picked)
    pixels = [np.asarray(marker.pixel) for marker in picked]
    width, height = site.size_px
    if max(pixel[1] for pixel in pixels) < height / 2.0:
        # Shots fly above the markers, so these lie in the lower half of an upright picture.
        yield Mistake(
            names,
            "the pixels were picked on a picture that is upside down: pick them on a frame of "
            "lobmeter still",
            _with_pixels(site, [np.array([width - 1.0, height - 1.0]) - each for each in pixels]),
            keeps_all=True,
            evident=True,
        )
    if is_line(np.array([marker.ground_m for marker in picked])) and len(picked) > 2:
        order = np.argsort([marker.ground_m[0] for marker in picked])
        turned = {int(i): pixels[j] for i, j in zip(order, order[::-1], strict=True)}
        yield Mistake(
            names,
            "the markers are named from the wrong end of the line",
            _with_pixels(site, [turned[i] for i in range(len(picked))]),
            keeps_all=True,
        )
    yield from _across_signs(site)


def _across_signs(site: Site) -> Iterator[Mistake]:
    """Yield that across has the wrong sign: that of the camera, of the markers, or of all."""
    picked, position = site.picked, site.position_m
    mirror = np.array([1.0, -1.0, 1.0])
    flipped = tuple(replace(marker, ground_m=mirror * marker.ground_m) for marker in picked)
    aside = tuple(marker.name for marker in picked if abs(marker.ground_m[1]) > DISTINCT_M)
    left = "it is positive to the left of the firing line, seen looking downrange"
    if len(aside) > 1:
        yield Mistake(
            aside,
            f"across of the markers off the line has the wrong sign: {left}",
            replace(site, markers=flipped),
            keeps_all=True,
        )
    if position is None:
        return
    yield Mistake(
        ("camera position",),
        f"the camera's across, {position[1]:g}, has the wrong sign: {left}",
        replace(site, position_m=mirror * position),
        keeps_all=True,
    )
    if aside:
        yield Mistake(
            (*aside, "camera position"),
            "across has the wrong sign in the camera's position and in the markers off the line: "
            f"{left}; or the clip is mirrored, as a phone's front camera may write it",
            replace(site, markers=flipped, position_m=mirror * position),
            keeps_all=True,
        )


def _with_pixels(site: Site, pixels: Sequence[Array]) -> Site:
    """Return a site whose markers have other pixels, in the order of `site.picked`."""
    return replace(
        site,
        markers=tuple(
            replace(marker, pixel=pixel) for marker, pixel in zip(site.picked, pixels, strict=True)
        ),
    )
