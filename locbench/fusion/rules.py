"""The trust rules: which detections are not believed, in the order of `Rule`."""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import FusionConfig, LatencyMode
from locbench.fusion.corrections import Rule
from locbench.odometry import Rates
from locbench.session import Detections
from locbench.statistics import chi_square_quantile

__all__ = ["gate_threshold", "refused_by_data"]


def refused_by_data(detections: Detections, rates: Rates, fusion: FusionConfig) -> tuple[Rule | None, ...]:
    """Return for each detection the first rule that refuses it without looking at the believed state, or None.

    A quantity that the log does not report, or odometry does not tell, cannot fail its rule. A fix from several tags is
    refused if one of them is excluded: it cannot be told what that one did to it.

    Parameters
    ----------
    detections
        M of them.
    rates
        Of the robot, (M,) each, at the times at which the detections act.
    fusion
        Trust rules and latency.
    """
    trust = fusion.trust
    history_s = fusion.latency.history if fusion.latency.mode is LatencyMode.REWIND else None
    every_tag = np.column_stack([detections.tag, detections.other_tags])
    fails = {
        Rule.TOO_OLD: _above(detections.arrived_s - detections.captured_s, history_s),
        Rule.EXCLUDED_TAG: np.any(np.isin(every_tag, trust.excluded_tags), axis=1),
        Rule.RANGE: _above(detections.range_m, trust.maximum_range),
        Rule.VIEW_ANGLE: _above(detections.view_angle_rad, trust.maximum_view_angle),
        Rule.REPROJECTION_RATIO: _above(detections.reprojection_ratio, trust.maximum_reprojection_ratio),
        Rule.TAG_COUNT: detections.tag_count < (trust.minimum_tag_count or 1),
        Rule.TURN_RATE: _above(rates.turn_rate_rad_s, trust.maximum_turn_rate),
        Rule.SPEED: _above(rates.speed_m_s, trust.maximum_speed),
    }
    rules = [rule for rule in Rule if rule in fails]
    rows = np.column_stack([fails[rule] for rule in rules])
    first = np.argmax(rows, axis=1)
    return tuple(rules[place] if row[place] else None for row, place in zip(rows, first, strict=True))


def _above(values: FloatArray, limit: float | None) -> BoolArray:
    """Return (M,) which values exceed the limit; NaN does not, and without a limit none does."""
    return np.zeros(len(values), dtype=bool) if limit is None else np.asarray(values > limit)


def gate_threshold(fusion: FusionConfig, degrees_of_freedom: int) -> float:
    """Return the largest normalised innovation squared that is believed; infinite without a gate."""
    if fusion.trust.gate_probability is None:
        return float(np.inf)
    return chi_square_quantile(fusion.trust.gate_probability, degrees_of_freedom)
