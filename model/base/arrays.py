"""Names of array types."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


FloatArray = NDArray[np.float64]
