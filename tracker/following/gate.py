"""The gate within which a candidate may belong to a predicted position."""

GATE = 13.8
"""Squared Mahalanobis distance: the 99.9 % point of chi-square with two degrees of freedom, no
unit."""
