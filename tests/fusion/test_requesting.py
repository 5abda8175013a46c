"""Corrections on request: each press lets one detection through, the first believed one inside its window."""

import dataclasses

import numpy as np
import pytest
from builders import START, detections, fusion, motion, sightings
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import MotionNoise
from locbench.fusion import Rule, fuse
from locbench.fusion.requesting import OpenRequests
from locbench.odometry import dead_reckon

DRIVE = motion()
TRUTH = dead_reckon(DRIVE, START.pose)


def _answered(requests_s, arrivals_s, window_s=1.0):
    presses = OpenRequests(np.array(requests_s, dtype=float), window_s)
    return [presses.answer(arrived) for arrived in arrivals_s]


@pytest.mark.parametrize(
    ("requests_s", "arrivals_s", "answered"),
    [
        ([], [1.0], [False]),
        ([2.0], [1.999, 2.0], [False, True]),
        ([2.0], [3.0], [True]),
        ([2.0], [3.0001], [False]),
        ([2.0], [2.1, 2.2], [True, False]),
        ([2.0, 2.0], [2.1, 2.2], [True, False]),
        ([2.0, 2.15], [2.1, 2.2, 2.3], [True, True, False]),
        # the earlier press of two is forgotten, though its window is still open
        ([2.0, 2.5], [2.6, 2.7], [True, False]),
    ],
)
def test_a_press_lets_one_arrival_through_inside_its_window(requests_s, arrivals_s, answered):
    assert _answered(requests_s, arrivals_s) == answered


@given(st.lists(st.integers(0, 20)), st.lists(st.integers(0, 25)), st.integers(1, 5))
def test_it_is_the_rule_in_words(requests, arrivals, window):
    used, expected = set(), []
    for arrival in sorted(arrivals):
        latest = max((press for press in requests if press <= arrival), default=None)
        expected.append(latest is not None and arrival - latest <= window and latest not in used)
        used |= {latest} if expected[-1] else set()
    assert _answered(requests, sorted(arrivals), window) == expected


def test_a_detection_that_another_rule_refuses_leaves_the_press_to_the_next():
    config = fusion(trust={"gate_probability": "99 %", "only_on_request": True, "request_window": "300 ms"})
    found = detections(DRIVE, TRUTH, count=4)
    captured = np.array([11.0, 11.1, 11.2, 12.0])
    value = np.column_stack([np.interp(captured, DRIVE.time_s, TRUTH[:, i]) for i in range(3)])
    value[0, 0] += 2.0
    exact = dataclasses.replace(found, captured_s=captured, arrived_s=captured + 0.01, value=value)
    press = np.array([10.9])
    estimate = fuse(DRIVE, START, sightings(exact, config), config, MotionNoise(), press)
    assert estimate.corrections.rejected_by == (Rule.GATE, None, Rule.NOT_REQUESTED, Rule.NOT_REQUESTED)
    assert np.all(np.isfinite(estimate.corrections.normalised_innovation_squared))
    unasked = fuse(DRIVE, START, sightings(exact, config), config, MotionNoise())
    assert unasked.corrections.rejected_by == (Rule.GATE, *[Rule.NOT_REQUESTED] * 3)
