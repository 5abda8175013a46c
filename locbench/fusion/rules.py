"""The trust rules: which detections are not believed, in the order of `Rule`."""

import numpy as np

from locbench.config import FusionConfig, LatencyMode
from locbench.fusion.corrections import Rule
from locbench.session import Detections
from locbench.statistics import chi_square_quantile

__all__ = ["gate_threshold", "refused_by_data"]


def refused_by_data(detections: Detections, index: int, fusion: FusionConfig) -> Rule | None:
    """Return the first rule that refuses a detection without looking at the believed state, or None.

    A quantity that the log does not report cannot fail its rule. A fix from several tags is refused if one of them is
    excluded: it cannot be told what that one did to it.
    """
    trust = fusion.trust
    age = detections.arrived_s[index] - detections.captured_s[index]
    if fusion.latency.mode is LatencyMode.REWIND and age > fusion.latency.history:
        return Rule.TOO_OLD
    tags = (detections.tag[index], *detections.other_tags[index])
    if any(int(tag) in trust.excluded_tags for tag in tags):
        return Rule.EXCLUDED_TAG
    if trust.maximum_range is not None and detections.range_m[index] > trust.maximum_range:
        return Rule.RANGE
    if trust.maximum_view_angle is not None and detections.view_angle_rad[index] > trust.maximum_view_angle:
        return Rule.VIEW_ANGLE
    return None


def gate_threshold(fusion: FusionConfig, degrees_of_freedom: int) -> float:
    """Return the largest normalised innovation squared that is believed; infinite without a gate."""
    if fusion.trust.gate_probability is None:
        return float(np.inf)
    return chi_square_quantile(fusion.trust.gate_probability, degrees_of_freedom)
