"""What became of every detection offered to a filter."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.geometry import wrap_angle

__all__ = ["Corrections", "Rule"]


class Rule(StrEnum):
    """Why a detection was refused; a detection counts under the first rule that fails, in this order."""

    TOO_OLD = "too_old"
    EXCLUDED_TAG = "excluded_tag"
    RANGE = "range"
    VIEW_ANGLE = "view_angle"
    REPROJECTION_RATIO = "reprojection_ratio"
    TAG_COUNT = "tag_count"
    TURN_RATE = "turn_rate"
    SPEED = "speed"
    GATE = "gate"
    NOT_REQUESTED = "not_requested"


@dataclass(frozen=True)
class Corrections:
    """One entry per detection offered, in the order (arrival, capture, row).

    Attributes
    ----------
    captured_s, arrived_s, tag, row
        (M,) of the detection.
    rejected_by
        The rule, or None if it was accepted.
    normalised_innovation_squared, degrees_of_freedom
        (M,) y' S^-1 y against the state at capture built from what had arrived; NaN and 0 where a rule that does
        not look at the state refused it first.
    whitened_innovation
        (M, 3) L^-1 y with L L' = S, in the order of the measured components; NaN where there are fewer or none.
    reacquired
        (M,) whether the gate's refusal was lifted because several fixes in a row agreed with each other: the belief was
        given up for this fix.
    before, after
        (M, 3) published poses just before and just after the arrival.
    """

    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    row: IntArray
    rejected_by: tuple[Rule | None, ...]
    normalised_innovation_squared: FloatArray
    degrees_of_freedom: IntArray
    whitened_innovation: FloatArray
    reacquired: BoolArray
    before: FloatArray
    after: FloatArray

    def __len__(self) -> int:
        return len(self.rejected_by)

    @property
    def accepted(self) -> BoolArray:
        """(M,) whether each detection was applied."""
        return np.array([rule is None for rule in self.rejected_by], dtype=bool)

    @property
    def jump(self) -> FloatArray:
        """(M, 2) how the published position moved at the arrival."""
        return np.asarray(self.after[:, :2] - self.before[:, :2])

    @property
    def jump_m(self) -> FloatArray:
        """(M,) how far the published position moved at the arrival."""
        return np.asarray(np.linalg.norm(self.jump, axis=1))

    @property
    def jump_rad(self) -> FloatArray:
        """(M,) how far the published heading turned at the arrival."""
        return np.abs(wrap_angle(self.after[:, 2] - self.before[:, 2]))
