"""Every trust rule at its boundary, in order, and with quantities that nothing tells."""

import dataclasses

import numpy as np
import pytest
from builders import START, detections, fusion, motion

from locbench.fusion import Rule
from locbench.fusion.rules import refused_by_data
from locbench.odometry import Rates, dead_reckon

DRIVE = motion()
TRUST = {
    "excluded_tags": [7],
    "maximum_range": "3 m",
    "maximum_view_angle": "0.5 rad",
    "maximum_reprojection_ratio": 0.6,
    "minimum_tag_count": 2,
    "maximum_turn_rate": "2 rad/s",
    "maximum_speed": "1.5 m/s",
}
# one detection's quantities: at the limit, which is still believed, and just beyond it
AT_LIMIT = {
    "age_s": 0.25,
    "tag": 1,
    "range_m": 3.0,
    "view_angle_rad": 0.5,
    "reprojection_ratio": 0.6,
    "tag_count": 2,
    "turn_rate_rad_s": 2.0,
    "speed_m_s": 1.5,
}
BEYOND = {
    Rule.TOO_OLD: {"age_s": 0.2501},
    Rule.EXCLUDED_TAG: {"tag": 7},
    Rule.RANGE: {"range_m": 3.0001},
    Rule.VIEW_ANGLE: {"view_angle_rad": 0.5001},
    Rule.REPROJECTION_RATIO: {"reprojection_ratio": 0.6001},
    Rule.TAG_COUNT: {"tag_count": 1},
    Rule.TURN_RATE: {"turn_rate_rad_s": 2.0001},
    Rule.SPEED: {"speed_m_s": 1.5001},
}


def _verdict(quantities: dict, trust: dict) -> Rule | None:
    one = detections(DRIVE, dead_reckon(DRIVE, START.pose), count=1)
    told = dict(quantities)
    rates = Rates(np.array([told.pop("turn_rate_rad_s")]), np.array([told.pop("speed_m_s")]))
    captured = np.array([10.0])
    changes = {"captured_s": captured, "arrived_s": captured + told.pop("age_s")}
    changes |= {name: np.array([value]) for name, value in told.items()}
    config = fusion(trust=trust, latency={"history": "250 ms"})
    return refused_by_data(dataclasses.replace(one, **changes), rates, config)[0]


def test_at_its_limit_a_detection_is_believed():
    assert _verdict(AT_LIMIT, TRUST) is None


@pytest.mark.parametrize("rule", BEYOND)
def test_just_beyond_its_limit_it_is_refused(rule):
    assert _verdict(AT_LIMIT | BEYOND[rule], TRUST) is rule


@pytest.mark.parametrize("rule", BEYOND)
def test_it_counts_under_the_first_rule_that_fails(rule):
    later = list(BEYOND)[list(BEYOND).index(rule) :]
    quantities = AT_LIMIT | {name: value for failing in later for name, value in BEYOND[failing].items()}
    assert _verdict(quantities, TRUST) is rule


def test_the_rules_are_counted_in_this_order():
    assert list(Rule) == [*BEYOND, Rule.GATE, Rule.NOT_REQUESTED]


def test_what_nothing_tells_cannot_fail():
    unknown = ["range_m", "view_angle_rad", "reprojection_ratio", "turn_rate_rad_s", "speed_m_s"]
    assert _verdict(AT_LIMIT | dict.fromkeys(unknown, np.nan), TRUST) is None


def test_a_rule_that_is_left_out_is_not_applied():
    beyond = AT_LIMIT | {name: value for failing in list(BEYOND)[1:] for name, value in BEYOND[failing].items()}
    assert _verdict(beyond, {}) is None
