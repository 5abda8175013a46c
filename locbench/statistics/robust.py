"""The median as an estimate, and how sure it is, from values among which some are plainly wrong."""

import math

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["MAD_TO_SIGMA", "standard_error_of_median"]

# of a normal distribution: standard deviation over median absolute deviation, and the asymptotic loss of the median
MAD_TO_SIGMA = 1.4826
_LOSS = math.sqrt(math.pi / 2.0)


def standard_error_of_median(values: FloatArray, independent: float) -> float:
    """Return the standard uncertainty of the median of values (N,) that are worth that many independent ones.

    From the median absolute deviation, so outliers do not widen it; exact for normal values and many of them.
    Source: Huber & Ronchetti, "Robust Statistics" (2009), sections 1.3 and 5.1.
    """
    spread = MAD_TO_SIGMA * float(np.median(np.abs(values - np.median(values))))
    return _LOSS * spread / math.sqrt(max(1.0, independent))
