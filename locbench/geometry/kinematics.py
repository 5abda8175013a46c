"""What a wheel rolling on a rigid body measures, and which motions a set of wheels cannot see."""

import math

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["rolling_row", "unseen_motion"]

# Singular values below this share of the largest count as zero: a lever arm of 1 mm beside 1 m still counts.
_RANK_TOLERANCE = 1e-6


def rolling_row(x_m: float, y_m: float, direction_rad: float) -> FloatArray:
    """Return (3,) such that row . (dx, dy, dtheta) is the travel of a wheel mounted there.

    Parameters
    ----------
    x_m, y_m
        Contact point in the robot frame.
    direction_rad
        Direction in which the wheel rolls, counter-clockwise from robot +x.

    Notes
    -----
    The contact point moves by (dx - y dtheta, dy + x dtheta); the wheel counts the part along its rolling direction.
    """
    cosine, sine = math.cos(direction_rad), math.sin(direction_rad)
    return np.array([cosine, sine, x_m * sine - y_m * cosine])


def _in_words(motion: FloatArray) -> str:
    dx, dy, turn = motion
    if abs(turn) < 1e-3 * math.hypot(dx, dy):
        direction = math.degrees(math.atan2(dy, dx)) % 180.0
        if min(direction, 180.0 - direction) < 1.0:
            return "forward motion"
        if abs(direction - 90.0) < 1.0:
            return "sideways motion"
        return f"motion along {direction:.0f} deg"
    x, y = -dy / turn + 0.0, dx / turn + 0.0
    if math.hypot(x, y) < 1e-3:
        return "turning on the spot"
    return f"turning about the point x = {round(1000 * x)} mm, y = {round(1000 * y)} mm"


def _separate_turning(first: FloatArray, second: FloatArray) -> list[FloatArray]:
    """Return a basis of the same plane of motions in which the first one does not turn."""
    turn = math.hypot(first[2], second[2])
    if turn < _RANK_TOLERANCE:
        return [first, second]
    return [(second[2] * first - first[2] * second) / turn, (first[2] * first + second[2] * second) / turn]


def unseen_motion(rows: FloatArray) -> list[str]:
    """Return, in words, the independent motions that leave every measurement unchanged.

    Parameters
    ----------
    rows
        (N, 3): one `rolling_row` per wheel; a gyro is the row (0, 0, 1).

    Returns
    -------
    list of str
        Empty if all three motions are seen.
    """
    padded = np.vstack([np.asarray(rows, dtype=float).reshape(-1, 3), np.zeros((3, 3))])
    _, singular, right = np.linalg.svd(padded)
    floor = _RANK_TOLERANCE * max(float(singular[0]), 1.0)
    hidden = [right[i] for i in range(3) if singular[i] <= floor]
    if len(hidden) == 3:
        return ["forward motion", "sideways motion", "turning"]
    if len(hidden) == 2:
        hidden = _separate_turning(*hidden)
    return [_in_words(motion) for motion in hidden]
