"""Rows in which the compiled replay keeps things: numba and plain Python read their fields alike, by name.

Arrays of rows rather than an array per quantity: what belongs together is read together, and a row goes into a compiled
function as one pointer.
"""

from typing import Any, TypeAlias

import numpy as np

__all__ = ["ARRIVAL", "MEMORY", "NODE", "STEP", "Row", "empty_rows"]

Row: TypeAlias = Any

# the state after a rank, what is applied there, and the variance of a bearing without a range at its verdict
NODE = np.dtype(
    [
        ("x", float),
        ("y", float),
        ("theta", float),
        ("cosine", float),
        ("sine", float),
        ("spread", float, (6,)),
        ("applied", np.int64),
        ("bearing_variance", float),
    ],
    align=True,
)
# how many refused fixes agree and which was the last, the request used last, and how many corrections were computed
MEMORY = np.dtype([("chain", np.int64), ("last", np.int64), ("used", np.int64), ("steps", np.int64)], align=True)
# what became of an arrival: the rule that refuses it, its innovation, and the newest states before and after it
ARRIVAL = np.dtype(
    [
        ("rule", np.int64),
        ("squared", float),
        ("whitened", float, (3,)),
        ("reset", bool),
        ("before", float, (3,)),
        ("after", float, (3,)),
        ("after_spread", float, (6,)),
    ],
    align=True,
)
# a correction as it was computed, because of which arrival
STEP = np.dtype(
    [
        ("arrival", np.int64),
        ("rank", np.int64),
        ("heading", float),
        ("gain", float, (3, 3)),
        ("slope", float, (3, 3)),
        ("spread", float, (6,)),
    ],
    align=True,
)


def empty_rows(shape: int | tuple[int, ...], kind: np.dtype[Any]) -> Any:
    """Return rows of zeros."""
    return np.zeros(shape, dtype=kind).view(np.recarray)
