"""Finds the least of a cost along one number, and how surely the log fixes it there."""

from collections.abc import Callable

import numpy as np

__all__ = ["find_least", "standard_sides", "towards_the_least"]

_MOST_STEPS = 12


def find_least(cost: Callable[[float], float], centre: float, step: float, finest: float) -> float:
    """Return where the cost is least near a centre, by parabolas of ever smaller steps down to the finest."""
    for _ in range(_MOST_STEPS):
        move = towards_the_least(cost, centre, step)
        centre += move
        if abs(move) < 0.3 * step:
            step /= 3.0
        if step < finest:
            break
    return centre


def towards_the_least(cost: Callable[[float], float], centre: float, step: float) -> float:
    """Return the way from the centre to the lowest point of the parabola through three points, at most one step."""
    low, middle, high = (cost(centre + point) for point in (-step, 0.0, step))
    bend = low - 2.0 * middle + high
    if bend <= 1e-9:
        return step * float(np.sign(low - high))
    return float(np.clip(0.5 * step * (low - high) / bend, -step, step))


def standard_sides(cost: Callable[[float], float], least_at: float, smallest: float) -> tuple[float, float]:
    """Return how far below and above its least a negative log-likelihood has grown by one half.

    Both are one standard deviation if it is a parabola there; where it is flat they say how wide. The reach is
    doubled from the smallest on, nine times at most, and then closed in on.
    """
    least = cost(least_at)

    def risen(reach: float, direction: float) -> bool:
        return cost(least_at + direction * reach) > least + 0.5

    def side(direction: float) -> float:
        reach = smallest
        for _ in range(9):
            if risen(reach, direction):
                break
            reach *= 2.0
        inside = 0.0 if reach == smallest else reach / 2.0
        for _ in range(3):
            middle = (inside + reach) / 2.0
            inside, reach = (inside, middle) if risen(middle, direction) else (middle, reach)
        return reach

    return side(-1.0), side(1.0)
