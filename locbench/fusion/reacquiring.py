"""When a gate refuses fixes that agree with each other, the belief is what is wrong.

A gate that believes a wrong state refuses every right fix and so keeps itself wrong. Fixes that agree with each other
over the way that odometry saw between them are evidence that does not rest on the belief.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FusionConfig, MotionNoise
from locbench.fusion.engines import Belief, Innovation
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
        misfit = self.misfit(index, believed)
        return misfit.normalised_squared <= gate_threshold(self.fusion, len(misfit.residual))

    def misfit(self, index: int, believed: Belief) -> Innovation:
        """Return how far a fix lies from where the last one and odometry put it, (3,), or (2,) if one has no heading.

        The one that acts earlier is carried to the time of the other. Where it has no heading, the one `believed` just
        before the new fix has to do.
        """
        rows, fixes = self.sightings.detections.row, self.sightings
        earlier, later = sorted((self.last, index), key=lambda i: (self.applied_s[i], rows[i]))
        begin_s, end_s = float(self.applied_s[earlier]), float(self.applied_s[later])
        travel = travel_since(self.motion, self.noise, begin_s, np.array([end_s]))
        way, added = travel.displacement[0], travel.covariance[0]
        size = 3 if np.isfinite(fixes.fix[[earlier, later], 2]).all() else 2
        origin = Belief(fixes.fix[earlier], fixes.fix_covariance[earlier])
        if not np.isfinite(origin.mean[2]):
            turned = 0.0 if earlier == index else way[2]
            origin = _with_heading(origin, believed.mean[2] - turned, believed.covariance[2, 2])
        reached = compose(origin.mean, way)
        carry = transition(reached[:2] - origin.mean[:2])
        spread = propagated_covariance(carry, origin.covariance) + rotated(added, reached[2])
        residual = fixes.fix[later] - reached
        residual[2] = wrap_angle(residual[2])
        return Innovation(residual[:size], (spread + fixes.fix_covariance[later])[:size, :size])


def _with_heading(position: Belief, heading_rad: float, variance: float) -> Belief:
    """Return a fix of a position as a whole pose, its heading independent of it."""
    covariance = np.zeros((3, 3))
    covariance[:2, :2], covariance[2, 2] = position.covariance[:2, :2], variance
    return Belief(np.array([*position.mean[:2], heading_rad]), covariance)
