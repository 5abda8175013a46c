"""Where shots would land if the estimator were as sure as it says: its covariance taken to the goal."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.shots.landing import line_of_fire
from locbench.shots.opening import clean_entry
from locbench.statistics import propagated_covariance

__all__ = ["hit_probability", "landing_covariance"]

_DRAWS = 1024
_GOLDEN_ANGLE = np.pi * (3.0 - np.sqrt(5.0))


def landing_covariance(true_pose: FloatArray, believed_covariance: FloatArray, goal: FloatArray) -> FloatArray:
    """Return the covariance of lateral and along of shots aimed from poses with a small error.

    Parameters
    ----------
    true_pose
        (K, 3).
    believed_covariance
        (K, 3, 3) of the believed pose, field frame.
    goal
        (2,) centre of the opening.

    Returns
    -------
    (K, 2, 2), in square metres.

    Notes
    -----
    First order of T_true T_believed^-1 goal: an error (ex, ey, eh) throws the shot by -n.(ex, ey) - d eh to the left
    and by -u.(ex, ey) beyond, with u the unit vector to the goal, n its left normal and d the distance.
    """
    unit = line_of_fire(true_pose, goal)
    distance = np.linalg.norm(true_pose[:, :2] - goal, axis=1)
    jacobian = np.zeros((len(true_pose), 2, 3))
    jacobian[:, 0, 0], jacobian[:, 0, 1], jacobian[:, 0, 2] = unit[:, 1], -unit[:, 0], -distance
    jacobian[:, 1, :2] = -unit
    return propagated_covariance(jacobian, believed_covariance)


def hit_probability(
    centre: FloatArray, covariance: FloatArray, line: FloatArray, goal: Goal, shooter: ShooterConfig
) -> FloatArray:
    """Return the probability (K,) that shots with a Gaussian landing point enter cleanly.

    Parameters
    ----------
    centre, covariance
        (K, 2) and (K, 2, 2) of lateral and along.
    line
        (K, 2) unit vectors from robot to goal.
    goal, shooter
        As in `clean_entry`.

    Notes
    -----
    1,024 points spread evenly over the distribution: equal shares of radius, turned by the golden angle each (Vogel,
    Math. Biosci. 44 (1979) 179-189). Against the Rice distribution it is right to 0.004 (`tests/reference/`).
    """
    count = len(centre)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, np.newaxis, :]
    points = centre[:, np.newaxis, :] + np.einsum("kij,mj->kmi", root, _spread_normal())
    lines = np.repeat(line, _DRAWS, axis=0)
    return np.asarray(clean_entry(points.reshape(-1, 2), lines, goal, shooter).reshape(count, _DRAWS).mean(axis=1))


def _spread_normal() -> FloatArray:
    number = np.arange(_DRAWS)
    radius = np.sqrt(-2.0 * np.log1p(-(number + 0.5) / _DRAWS))
    angle = _GOLDEN_ANGLE * number
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
