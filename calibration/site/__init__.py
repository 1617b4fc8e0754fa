"""Calibration: everything known about one camera stand to a camera with a covariance."""

from typing import TYPE_CHECKING

from calibration.later import later
from calibration.markers import Marker, Plumb
from calibration.site.accuracy import Quantity, flight_quantities, ground_covariances
from calibration.site.blunders import ALARM, Suspect
from calibration.site.outlook import Figure, outlook
from calibration.site.remedies import Remedy
from calibration.site.solution import Calibration, solve
from calibration.site.sources import SOURCES
from calibration.site.stand import Site
from calibration.site.weakness import Weakness

if TYPE_CHECKING:
    from calibration.site.drawing import (
        Arrow,
        Drawing,
        Ellipse,
        Tick,
        draw,
        ground_ellipses,
        visible,
    )
    from calibration.site.forecast import camera_at, forecast_camera, markers_in_view

__all__ = [
    "ALARM",
    "SOURCES",
    "Arrow",
    "Calibration",
    "Drawing",
    "Ellipse",
    "Figure",
    "Marker",
    "Plumb",
    "Quantity",
    "Remedy",
    "Site",
    "Suspect",
    "Tick",
    "Weakness",
    "camera_at",
    "draw",
    "flight_quantities",
    "forecast_camera",
    "ground_covariances",
    "ground_ellipses",
    "markers_in_view",
    "outlook",
    "solve",
    "visible",
]

__getattr__ = later(
    __name__,
    {
        "drawing": "Arrow Drawing Ellipse Tick draw ground_ellipses visible",
        "forecast": "camera_at forecast_camera markers_in_view",
    },
)
