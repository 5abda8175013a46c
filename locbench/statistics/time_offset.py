"""By how much one signal lags behind another, from their cross-correlation."""

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["time_offset"]

# a peak that is not this high, of 1, is none
_CLEAR = 0.5


def time_offset(reference: FloatArray, lagging: FloatArray, period_s: float, most_s: float) -> float | None:
    """Return the delay that makes two evenly sampled signals most alike; None if nothing does clearly.

    A value to start from: how sure it is, a fit tells.

    Parameters
    ----------
    reference, lagging
        (N,) sampled at the same times, such as turn rates by two sensors.
    period_s
        Between samples.
    most_s
        Largest delay looked for, in both senses.

    Returns
    -------
    float or None
        Positive where `lagging` shows things later; to a fraction of the period. None where a signal does not vary,
        the correlation is below a half, or its peak lies at the end of what was looked for.

    Notes
    -----
    Normalised over the samples that overlap at each delay, the peak refined by a parabola through it and its two
    neighbours: k + (y[-1] - y[1]) / (2 (y[-1] - 2 y[0] + y[1])). Common practice, formula from memory.
    """
    most = min(int(np.ceil(most_s / period_s)), len(reference) // 2 - 1)
    if most < 1:
        return None
    delays = np.arange(-most, most + 1)
    alike = np.array([_alike(reference, lagging, int(delay)) for delay in delays])
    peak = int(np.argmax(alike))
    if not alike[peak] > _CLEAR or peak in (0, len(delays) - 1):
        return None
    before, here, after = alike[peak - 1 : peak + 2]
    bend = before - 2.0 * here + after
    return float(delays[peak] + (0.5 * (before - after) / bend if bend else 0.0)) * period_s


def _alike(reference: FloatArray, lagging: FloatArray, delay: int) -> float:
    """Return the correlation of a signal with the other one that many samples later; 0 where either is constant."""
    count = len(reference) - abs(delay)
    first = reference[:count] if delay >= 0 else reference[-delay:]
    second = lagging[delay:] if delay >= 0 else lagging[:count]
    first, second = first - np.mean(first), second - np.mean(second)
    size = float(np.sqrt((first @ first) * (second @ second)))
    return float(first @ second) / size if size > 0.0 else 0.0
