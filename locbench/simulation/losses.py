"""Whiles in which a sensor misses a share of the motion."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.scenario import ScenarioConfig

__all__ = ["Loss", "gyro_losses", "kept_share", "pod_losses"]


@dataclass(frozen=True)
class Loss:
    """From `begin_s` (included) to `end_s` (excluded) that share of the motion is not seen."""

    begin_s: float
    end_s: float
    share: float


def pod_losses(scenario: ScenarioConfig, pod: str) -> tuple[Loss, ...]:
    """Return when this pod, or driven wheel, slips: in its slips, and while the robot is being shoved."""
    slips = [Loss(slip.start, slip.start + slip.duration, slip.lost) for slip in scenario.slips if slip.pod == pod]
    shoves = [
        Loss(shove.start, shove.start + shove.contact, shove.pods_lose[pod])
        for shove in scenario.shoves
        if pod in shove.pods_lose
    ]
    return (*slips, *shoves)


def gyro_losses(scenario: ScenarioConfig) -> tuple[Loss, ...]:
    """Return when the gyro misses part of the turn: while the robot is being shoved."""
    return tuple(Loss(shove.start, shove.start + shove.contact, shove.gyro_loses) for shove in scenario.shoves)


def kept_share(time_s: FloatArray, losses: Iterable[Loss]) -> FloatArray:
    """Return the share (...) of the motion that is seen at times (...); losses that overlap multiply."""
    kept = np.ones(np.shape(time_s))
    for loss in losses:
        kept[(time_s >= loss.begin_s) & (time_s < loss.end_s)] *= 1.0 - loss.share
    return kept
