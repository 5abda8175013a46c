"""When a gate refuses fixes that agree with each other, the belief is what is wrong.

A gate that believes a wrong state refuses every right fix and so keeps itself wrong. Fixes that agree with each other
over the way that odometry saw between them are evidence that does not rest on the belief.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FusionConfig, MotionNoise
from locbench.fusion.engines import Belief
from locbench.fusion.rules import gate_threshold
from locbench.geometry import compose, wrap_angle
from locbench.odometry import Motion, rotated, transition, travel_since
from locbench.statistics import propagated_covariance
from locbench.vision import Sightings

__all__ = ["AgreeingFixes"]


@dataclass
class AgreeingFixes:
    """Counts the fixes in a row that the gate refused and that agree each with the one before.

    Attributes
    ----------
    sightings, applied_s
        The detections, and when (M,) each acts.
    motion, noise
        The odometry between them, and what the filter believes of it.
    fusion
        Its gate says how closely fixes must agree.
    enough
        As many in a row are believed rather than the filter.
    """

    sightings: Sightings
    applied_s: FloatArray
    motion: Motion
    noise: MotionNoise
    fusion: FusionConfig
    enough: int
    count: int = 0
    last: int = -1

    def clear(self) -> None:
        """Forget them all."""
        self.count = 0

    def extend(self, index: int, believed: Belief) -> bool:
        """Add a fix that the gate refused against the belief at its time, and return whether they are enough.

        One that does not agree with the one before is the first again.
        """
        self.count = self.count + 1 if self.count and self._agrees(index, believed) else 1
        self.last = index
        return self.count >= self.enough

    def _agrees(self, index: int, believed: Belief) -> bool:
        rows = self.sightings.detections.row
        earlier, later = sorted((self.last, index), key=lambda i: (self.applied_s[i], rows[i]))
        begin_s, end_s = float(self.applied_s[earlier]), float(self.applied_s[later])
        travel = travel_since(self.motion, self.noise, begin_s, np.array([end_s]))
        way, added = travel.displacement[0], travel.covariance[0]
        fix, spread = self.sightings.fix[earlier].copy(), self.sightings.fix_covariance[earlier].copy()
        size = 3
        if not np.isfinite(fix[2]):
            # positions say nothing of the heading, so the believed one has to do
            fix[2] = believed.mean[2] - (0.0 if earlier == index else way[2])
            spread[2, :], spread[:, 2] = 0.0, 0.0
            spread[2, 2] = believed.covariance[2, 2]
            size = 2
        target = self.sightings.fix[later]
        size = size if np.isfinite(target[2]) else 2
        reached = compose(fix, way)
        expected = propagated_covariance(transition(reached[:2] - fix[:2]), spread) + rotated(added, reached[2])
        covariance = (expected + self.sightings.fix_covariance[later])[:size, :size]
        residual = target - reached
        residual[2] = wrap_angle(residual[2])
        squared = residual[:size] @ np.linalg.solve(covariance, residual[:size])
        return bool(squared <= gate_threshold(self.fusion, size))
