"""Likely mistakes of a person: what each concerns, and the site as it would be without it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from calibration.markers import Marker
from calibration.site.stand import Site, is_line

MOST_MARKERS_TO_SWAP = 10
"""Markers up to which every one is left out in turn and every pair swapped: 55 adjustments, a
second of processor time."""

METRES_PER_FOOT = 0.3048
"""Exact (International Yard and Pound Agreement, 1959)."""


DISTINCT_M = 0.3
"""A corrected place nearer than this to the written one is no explanation, m: ten times how well
a marker is taped (common practice, no source)."""


@dataclass(frozen=True)
class Mistake:
    """One likely mistake: what it concerns and the site without it.

    `keeps_all` says that all observations stay, `leaves_out` names a marker that does not.
    """

    names: tuple[str, ...]
    text: str
    site: Site
    keeps_all: bool = False
    leaves_out: str = ""


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
    yield from _mirrored(site)
    yield from _axes_swapped(site)
    yield from _in_feet(site)
    if site.position_m is not None:
        yield Mistake(
            ("camera position",),
            "the camera's taped position does not agree with the markers",
            replace(site, position_m=None),
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


def _in_feet(site: Site) -> Iterator[Mistake]:
    """Yield that the markers, or the camera's position, are written in feet."""
    picked = site.picked
    if site.position_m is None:
        return
    yield Mistake(
        tuple(marker.name for marker in picked),
        "the coordinates of the markers are in feet and the camera's position is in metres: "
        f"multiply them by {METRES_PER_FOOT:g}",
        replace(
            site,
            markers=tuple(replace(m, ground_m=METRES_PER_FOOT * m.ground_m) for m in picked),
        ),
        keeps_all=True,
    )
    yield Mistake(
        ("camera position",),
        "the camera's position is in feet and the coordinates of the markers are in metres: "
        f"multiply it by {METRES_PER_FOOT:g}",
        replace(site, position_m=METRES_PER_FOOT * site.position_m),
        keeps_all=True,
    )


def _mirrored(site: Site) -> Iterator[Mistake]:
    """Yield the two ways to see a field from its wrong side."""
    picked = site.picked
    pixels = [marker.pixel for marker in picked]
    if is_line(np.array([marker.ground_m for marker in picked])) and len(picked) > 2:
        order = np.argsort([marker.ground_m[0] for marker in picked])
        turned = {int(i): pixels[j] for i, j in zip(order, order[::-1], strict=True)}
        yield Mistake(
            tuple(marker.name for marker in picked),
            "the markers are named from the wrong end of the line",
            replace(
                site,
                markers=tuple(replace(m, pixel=turned[i]) for i, m in enumerate(picked)),
            ),
            keeps_all=True,
        )
    if site.position_m is not None:
        yield Mistake(
            ("camera position",),
            f"the camera's across, {site.position_m[1]:g}, has the wrong sign: it is positive to "
            "the left of the firing line, seen looking downrange",
            replace(site, position_m=site.position_m * (1.0, -1.0, 1.0)),
            keeps_all=True,
        )
