"""Statistics on plain arrays: means, differences, outliers, sample sizes, landing scatter.

Nothing here knows of balls. Each file holds one idea, and each formula names its source.
"""
