"""How what several channels tell becomes one list of events."""

import numpy as np
import pytest
from detection import AS_CALIBRATED, LAYOUTS, analysed, drive, recorded, robot_of

from locbench.slip.by_corrections import CorrectionSlip
from locbench.slip.counters import CounterFault
from locbench.slip.events import Candidate
from locbench.slip.kinds import SlipChannel, SlipFault
from locbench.slip.study import Event, _with_corrections, events_of

LEFT, RIGHT, CROSS, GYRO = range(4)
ALIKE = (Candidate(LEFT, 0.05, 0.001, 1 / 3), Candidate(RIGHT, -0.05, 0.001, 1 / 3), Candidate(GYRO, 0.2, 0.004, 1 / 3))


def _event(first=10.0, last=10.3, candidates=ALIKE, channel=SlipChannel.PARITY, fault=SlipFault.SLIP):
    return Event(fault, channel, None, first, last, first + 0.1, candidates, True, 0.999)


def _slip(sensor, lacks, std=0.01, first=10.0, last=10.2):
    return CorrectionSlip(first - 0.1, first, last, last + 0.2, (Candidate(sensor, lacks, std, 1.0),), 0.9999)


def _merged(events, *slips):
    return _with_corrections(list(events), slips, SlipChannel.TAGS)


def test_a_correction_of_that_size_narrows_the_candidates():
    (event,), added = _merged([_event()], _slip(LEFT, 0.045))
    assert added == []
    assert [one.sensor for one in event.candidates] == [LEFT]
    # the sensors tell the size better
    assert event.candidates[0].lacks == 0.05
    assert event.decided_by is SlipChannel.TAGS
    assert event.alone


@pytest.mark.parametrize("slip", [_slip(LEFT, -0.05), _slip(CROSS, 0.15)])
def test_one_that_contradicts_is_something_else_at_the_same_time(slip):
    (event,), added = _merged([_event()], slip)
    assert added == []
    assert not event.alone
    assert event.candidates[0].sensor == slip.candidates[0].sensor
    assert {one.sensor for one in event.candidates} >= {LEFT, RIGHT, GYRO}
    assert (event.first_s, event.last_s) == (10.0, 10.3)
    assert event.span_of(0) == (10.0, 10.2)
    assert event.span_of(1) == (10.0, 10.3)


def test_one_far_away_is_an_event_of_its_own():
    (kept,), (added,) = _merged([_event()], _slip(CROSS, 0.15, first=20.0, last=20.3))
    assert kept == _event()
    assert added.alone
    assert added.channel is SlipChannel.TAGS
    assert added.candidates[0].sensor == CROSS


def test_a_failed_counter_explains_its_correction():
    failed = _event(candidates=(Candidate(CROSS, 0.3, 0.001, 1.0),), channel=SlipChannel.COUNTER, fault=SlipFault.STUCK)
    kept, added = _merged([failed], _slip(CROSS, 0.1))
    assert (kept, added) == ([failed], [])
    kept, added = _merged([failed], _slip(LEFT, 0.1))
    assert kept == [failed]
    assert len(added) == 1


def test_a_failed_counter_names_what_contradicts():
    robot = robot_of(next(iter(LAYOUTS.values())))
    generator = np.random.default_rng(3)
    log, planned = recorded(drive(0.5, generator), robot, AS_CALIBRATED, generator, ["left"])
    steps = analysed(log, robot)[1]
    first = planned[0]
    fault = CounterFault(LEFT, SlipFault.STUCK, first.begin_s, first.end_s, first.size_m, 0.001)
    events = events_of(steps, [fault], [], 0.05)
    named = [event for event in events if event.channel is SlipChannel.COUNTER]
    assert len(named) == 1
    assert named[0].decided_by is SlipChannel.COUNTER
    assert [one.sensor for one in named[0].candidates] == [LEFT]
    assert len(events) == len(events_of(steps, [], [], 0.05))


def test_a_failure_that_nothing_contradicts_is_an_event_too():
    fault = CounterFault(CROSS, SlipFault.JUMP, 5.0, 5.01, -0.05, 0.001)
    (event,) = events_of(None, [fault], [], 0.05)
    assert event.decided_by is None
    assert event.confidence > 0.999
    assert events_of(None, [], [], 0.05) == []
