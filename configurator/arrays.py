"""Names of arrays by what they hold."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Figures, in SI units or in the unit that a name ends with."""
Reals = NDArray[np.floating[Any]]
"""Figures in double precision, or in single: half the memory to move, and a mixture to about 1e-6."""
Mask = NDArray[np.bool_]
"""Yes or no."""
Integers = NDArray[np.int64]
"""Counts, and costs in whole units."""
Indices = NDArray[np.intp]
"""Where something stands in another array."""
