"""From everything that is known about one camera stand to one camera with a covariance."""

from calibration.markers import Marker
from calibration.site.accuracy import ground_covariances
from calibration.site.solution import Calibration, solve
from calibration.site.stand import Site
from calibration.site.weakness import Weakness

__all__ = ["Calibration", "Marker", "Site", "Weakness", "ground_covariances", "solve"]
