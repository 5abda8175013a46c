"""The order in which places are visited."""

from collections.abc import Sequence
from itertools import permutations

import numpy as np

from locbench.runsheet.marks import Pose

__all__ = ["shortest_order"]


def shortest_order(poses: Sequence[Pose]) -> list[int]:
    """Return up to nine places, by their numbers, in the order of the shortest closed tour from the first of them.

    All orders are tried: 40,320 for nine places.
    """
    places = np.array([(pose.x_m, pose.y_m) for pose in poses])
    lengths = np.linalg.norm(places[:, np.newaxis] - places, axis=-1)
    orders = np.array([(0, *rest, 0) for rest in permutations(range(1, len(poses)))])
    # rounded, so that of two orders as long the same one is taken everywhere
    best = orders[np.argmin(lengths[orders[:, :-1], orders[:, 1:]].sum(axis=1).round(9))]
    return [int(number) for number in best[:-1]]
