"""Numbers of one machine, or of many draws of it at once."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

Value = float | Array
"""A number, or one for each draw: every formula of the launcher takes both."""
