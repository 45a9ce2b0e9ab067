"""Names of array types, and sums whose type numpy gets wrong."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


FloatArray = NDArray[np.float64]


def summed_at(places: IntArray, values: FloatArray, count: int) -> FloatArray:
    """Return (count,) the sum of all values that fall on each place from 0."""
    # numpy's types know bincount as a count of whole numbers alone; with weights it gives floats
    return np.bincount(places, values, minlength=count).astype(np.float64, copy=False)
