"""Odometry whose errors are exactly those that a motion noise speaks of: no pods, no gyro."""

import math

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.robot import MotionNoise
from locbench.geometry import between, compose, exponential, logarithm
from locbench.simulation.motion import Motion, fine_steps

__all__ = ["body_increments"]


def body_increments(
    motion: Motion, noise: MotionNoise, time_s: FloatArray, generator: np.random.Generator
) -> FloatArray:
    """Return the body increments (N, 3) over the interval before each row, the first one zero.

    Parameters
    ----------
    motion
        Where the robot truly is.
    noise
        Standard deviations per metre, turn and minute.
    time_s
        (N,) times of the rows.

    Notes
    -----
    The truth is smooth and the odometry errs. At steps of at most 1 ms independent errors along and across the
    direction of travel and in heading, their variances linear in the step's length, turn and time, are added to the
    true step, and the steps of an interval are composed: white noise along the arc by its definition, without the
    estimators' integral of it.
    """
    twist = np.zeros((len(time_s), 3))
    for rows, fine_s in fine_steps(time_s):
        poses = motion.pose_at(fine_s)
        steps = logarithm(between(poses[:, :-1], poses[:, 1:]))
        steps = steps + _errors(steps, np.diff(fine_s, axis=1), noise, generator)
        twist[rows] = logarithm(_composed(exponential(steps)))
    return twist


def _composed(moves: FloatArray) -> FloatArray:
    """Return the (N, 3) composition of (N, P, 3) moves, one after the other: neighbours first, then pairs of pairs."""
    while moves.shape[1] > 1:
        last = moves[:, moves.shape[1] // 2 * 2 :]
        moves = np.concatenate([compose(moves[:, :-1:2], moves[:, 1::2]), last], axis=1)
    return np.asarray(moves[:, 0])


def _errors(
    steps: FloatArray, duration_s: FloatArray, noise: MotionNoise, generator: np.random.Generator
) -> FloatArray:
    length, turn = np.hypot(steps[..., 0], steps[..., 1]), np.abs(steps[..., 2])
    heading_variance = (
        noise.heading_per_metre**2 * length
        + noise.heading_per_turn**2 * turn / (2.0 * math.pi)
        + noise.heading_per_minute**2 * duration_s / 60.0
    )
    draws = generator.standard_normal(steps.shape)
    along = noise.along_per_metre * np.sqrt(length) * draws[..., 0]
    across = noise.across_per_metre * np.sqrt(length) * draws[..., 1]
    direction = np.arctan2(steps[..., 1], steps[..., 0])
    cosine, sine = np.cos(direction), np.sin(direction)
    return np.stack(
        [along * cosine - across * sine, along * sine + across * cosine, np.sqrt(heading_variance) * draws[..., 2]],
        axis=-1,
    )
