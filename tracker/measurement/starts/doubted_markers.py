"""What is known of a presumed camera if a marker stands elsewhere than was taped."""

from dataclasses import replace

from calibration.site.presumed import Presumption
from tracker.fitting.untaped import LooseMarkers

DOUBTED_U_M = 1.0
"""Standard uncertainty of the places of markers of which one is wrong, none says which, m: a metre
is what a tape is misread by. Common practice, no source."""


def loose_rows(presumption: Presumption) -> LooseMarkers | None:
    """Return what is known of a camera if any marker may stand elsewhere; None without markers."""
    site = presumption.site
    if not site.picked:
        return None
    markers = tuple(replace(each, u_m=max(each.u_m, DOUBTED_U_M)) for each in site.markers)
    return LooseMarkers(presumption.of(replace(site, markers=markers)).rows, len(site.picked))
