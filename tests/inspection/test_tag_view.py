import dataclasses

import numpy as np
import pytest
from builders import START, detections, motion

from locbench.inspection.tag_view import tag_view, tag_view_diagnosis
from locbench.odometry import Motion
from locbench.session import Severity, Stretch


def _seen(*times):
    drive = motion()
    made = detections(drive, np.zeros((len(drive.time_s), 3)), count=len(times))
    return dataclasses.replace(made, captured_s=np.array(times), arrived_s=np.array(times))


def test_share_and_longest_stretch_by_hand():
    # pictures every 0.1 s from 1 s to 2 s and from 6 s to 7 s, in a run of 10 s
    seen = _seen(*np.arange(1.0, 2.05, 0.1), *np.arange(6.0, 7.05, 0.1))
    view = tag_view(seen, [Stretch(("whole log",), 0.0, 10.0, START)])
    assert view.share_of_time == pytest.approx(0.2)
    assert (view.longest_without_s, view.longest_without_from_s) == (pytest.approx(4.0), pytest.approx(2.0))


def test_what_lies_between_two_stretches_does_not_count():
    seen = _seen(*np.arange(1.0, 2.05, 0.1), *np.arange(6.0, 7.05, 0.1))
    stretches = [Stretch((name,), begin, end, START) for name, begin, end in (("a", 1.0, 2.0), ("b", 5.5, 7.0))]
    view = tag_view(seen, stretches)
    assert view.longest_without_s == pytest.approx(0.5)
    assert view.share_of_time == pytest.approx(1.0)


@pytest.mark.parametrize("times", [(), (5.0,)])
def test_almost_no_detections(times):
    view = tag_view(_seen(*times), [Stretch(("whole log",), 0.0, 10.0, START)])
    assert view.share_of_time == 0.0
    assert view.longest_without_s == (5.0 if times else 10.0)


@pytest.mark.parametrize(("speed", "severity"), [(0.5, Severity.WARNING), (0.0, Severity.NOTE)])
def test_a_long_drive_without_a_tag_is_a_warning_and_a_long_wait_is_not(speed, severity):
    time = np.arange(0.0, 30.05, 0.1)
    twist = np.tile([0.1 * speed, 0.0, 0.0], (len(time), 1))
    drive = Motion.from_increments(time, twist, np.zeros(len(time), dtype=bool))
    view = tag_view(_seen(0.0, 0.1, 29.9, 30.0), [Stretch(("whole log",), 0.0, 30.0, START)])
    found = tag_view_diagnosis(view, drive, "tags.csv")
    assert found.severity is severity
    assert "29.8 s, from 0.1 s on" in found.evidence
