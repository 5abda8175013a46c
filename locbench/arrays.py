"""Names for the array types that cross room borders, and where flags are set in a row."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["BoolArray", "FloatArray", "IntArray", "runs_of"]

FloatArray: TypeAlias = NDArray[np.float64]
BoolArray: TypeAlias = NDArray[np.bool_]
IntArray: TypeAlias = NDArray[np.int64]


def runs_of(flags: BoolArray) -> IntArray:
    """Return (K, 2) the first index of every run of true flags (N,), and the index after its last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return edges.reshape(-1, 2)
