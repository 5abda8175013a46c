"""Corrections only when the driver asks: each press lets one detection through."""

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["OpenRequests"]


class OpenRequests:
    """Which presses still wait for a detection; presses at the same instant are one."""

    def __init__(self, requests_s: FloatArray, window_s: float) -> None:
        self._pressed_s, self._window_s = np.unique(requests_s), window_s
        self._answered = -1

    def answer(self, arrived_s: float) -> bool:
        """Return whether the latest press before an arrival waits for it, and let it wait no more.

        Arrivals must not go back. A press that was not answered before the next one is forgotten.
        """
        latest = int(np.searchsorted(self._pressed_s, arrived_s, side="right")) - 1
        if latest <= self._answered or arrived_s - self._pressed_s[latest] > self._window_s:
            return False
        self._answered = latest
        return True
