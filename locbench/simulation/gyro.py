"""The gyro: turns with bias, scale error, lag and a random walk, logged as a heading that starts at zero."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.scenario import GyroErrors
from locbench.simulation.losses import Loss, kept_share
from locbench.simulation.motion import Motion, fine_steps

__all__ = ["gyro_heading"]

_MINUTE_S = 60.0


def gyro_heading(
    motion: Motion,
    errors: GyroErrors,
    losses: tuple[Loss, ...],
    time_s: FloatArray,
    generator: np.random.Generator,
) -> FloatArray:
    """Return the logged heading (N,), counter-clockwise, not wrapped.

    Parameters
    ----------
    motion
        Where the robot truly is.
    losses
        When part of the turn is missed.
    time_s
        (N,) times of the rows.
    """
    turn = np.zeros(len(time_s))
    for rows, fine_s in fine_steps(time_s):
        # what is read now happened a lag ago; before the log the robot stood
        happened_s = np.maximum(fine_s - errors.lag, time_s[0])
        headings = motion.pose_at(happened_s)[..., 2]
        middle_s = 0.5 * (happened_s[:, 1:] + happened_s[:, :-1])
        turn[rows] = np.sum(np.diff(headings, axis=1) * kept_share(middle_s, losses), axis=1)
    elapsed = time_s - time_s[0]
    walk = errors.heading_per_minute * np.sqrt(np.diff(time_s, prepend=time_s[0]) / _MINUTE_S)
    noise = np.cumsum(walk * generator.standard_normal(len(time_s)))
    return np.asarray((1.0 + errors.scale_error) * np.cumsum(turn) + errors.bias * elapsed + noise)
