"""Statistics on plain arrays: means, differences, outliers, sample sizes, landing scatter.

Nothing here knows of balls. Each file is one idea, and each formula names its source.
"""

from tracker.statistics.agreement import Agreement, e_number, zeta_score
from tracker.statistics.components import (
    Estimate,
    difference,
    mean_with_shared,
    random_effects_mean,
)
from tracker.statistics.improvement import expected_improvement
from tracker.statistics.landing import (
    Ellipse,
    extreme_spread,
    landing_region,
    mean_radius,
    median_miss,
)
from tracker.statistics.means import (
    Sample,
    mean_interval,
    next_interval,
    sample_of,
    scatter_interval,
)
from tracker.statistics.outliers import Grubbs, grubbs, grubbs_critical
from tracker.statistics.pairwise import Pair, critical_range, games_howell, tukey
from tracker.statistics.power import power_of_two, shots_for_half_width, shots_to_tell
from tracker.statistics.propagation import (
    combined,
    coverage_interval,
    effective_dof,
    propagate,
    second_order_u,
)
from tracker.statistics.variance import AnovaTable, one_way, welch_anova, welch_t

__all__ = [
    "Agreement",
    "AnovaTable",
    "Ellipse",
    "Estimate",
    "Grubbs",
    "Pair",
    "Sample",
    "combined",
    "coverage_interval",
    "critical_range",
    "difference",
    "e_number",
    "effective_dof",
    "expected_improvement",
    "extreme_spread",
    "games_howell",
    "grubbs",
    "grubbs_critical",
    "landing_region",
    "mean_interval",
    "mean_radius",
    "mean_with_shared",
    "median_miss",
    "next_interval",
    "one_way",
    "power_of_two",
    "propagate",
    "random_effects_mean",
    "sample_of",
    "scatter_interval",
    "second_order_u",
    "shots_for_half_width",
    "shots_to_tell",
    "tukey",
    "welch_anova",
    "welch_t",
    "zeta_score",
]
