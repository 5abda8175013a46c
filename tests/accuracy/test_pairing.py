import dataclasses

import numpy as np
import pytest
from builders import comparison

from locbench.accuracy import PairedErrors, paired_comparisons, paired_difference, parts_of_the_way
from locbench.statistics import ComparisonVerdict, measured, unavailable


def _walked(count):
    poses = np.column_stack([np.arange(float(count)), np.zeros(count), np.zeros(count)])
    return comparison(poses, poses)


def test_parts_end_at_mark_visits_and_at_stretches():
    found = dataclasses.replace(_walked(9), stretch=np.array([0] * 5 + [1] * 4))
    assert parts_of_the_way(found, np.array([6.5, 2.5])).tolist() == [0, 0, 0, 1, 1, 2, 2, 3, 3]


def test_without_marks_the_way_has_twenty_equal_parts():
    parts = parts_of_the_way(_walked(101), np.zeros(0))
    assert np.unique(parts).tolist() == list(range(20))
    assert np.bincount(parts).max() <= 6


def test_a_robot_that_stood_still_has_one_part():
    still = dataclasses.replace(_walked(5), path_length_m=np.zeros(5))
    assert parts_of_the_way(still, np.zeros(0)).tolist() == [0] * 5


def test_only_places_where_both_had_a_pose_are_paired():
    ours, theirs = _walked(4), _walked(4)
    blind = ours.believed.copy()
    blind[1] = np.nan
    lost = theirs.reference.copy()
    lost[2] = np.nan
    first, second, part = paired_comparisons(
        dataclasses.replace(ours, believed=blind), dataclasses.replace(theirs, reference=lost), np.arange(4)
    )
    assert first.time_s.tolist() == second.time_s.tolist() == [0.0, 3.0]
    assert part.tolist() == [0, 3]


def test_a_long_truth_is_thinned_alike_for_both():
    first, second, part = paired_comparisons(_walked(45_000), _walked(45_000), np.arange(45_000))
    assert len(first) == len(second) == len(part) == 15_000


def _session(ours, theirs):
    shape = (12, 1)
    return PairedErrors(np.full(shape, ours), np.full(shape, theirs), np.repeat(np.arange(6), 2))


RMS = measured(0.1, (0.08, 0.13), 40, "rms"), measured(0.2, (0.16, 0.26), 40, "rms")


def test_from_six_sessions_on_the_sessions_decide():
    sessions = [_session(0.10 + 0.01 * i, 0.20) for i in range(6)]
    found = paired_difference(sessions, *RMS)
    assert found.verdict is ComparisonVerdict.BETTER
    assert (found.sessions, found.difference.n) == (6, 6)
    assert found.difference.value == pytest.approx(-0.075)
    assert found.difference.ci95[1] < 0.0
    worse = paired_difference([_session(0.2, 0.1)] * 6, *RMS)
    assert worse.verdict is ComparisonVerdict.WORSE


def test_below_six_sessions_the_parts_of_the_way_say_what_these_runs_did():
    found = paired_difference([_session(0.1, 0.2)] * 5, *RMS)
    assert found.verdict is ComparisonVerdict.BETTER_HERE
    assert (found.sessions, found.parts) == (5, 30)
    assert found.difference.value == pytest.approx(-0.1)
    few = dataclasses.replace(_session(0.1, 0.2), part=np.repeat([0, 1], 6))
    assert paired_difference([few], *RMS).verdict is ComparisonVerdict.NO_CLEAR_GAIN


def test_sessions_without_a_common_place_do_not_count():
    empty = PairedErrors(np.zeros((0, 1)), np.zeros((0, 1)), np.zeros(0, dtype=int))
    assert paired_difference([_session(0.1, 0.2)] * 5 + [empty], *RMS).sessions == 5
    nothing = paired_difference([empty], unavailable("none"), unavailable("none"))
    assert nothing.difference.value is None
    assert nothing.verdict is ComparisonVerdict.NO_CLEAR_GAIN


def test_errors_that_rise_and_fall_together_leave_a_narrower_difference():
    rng = np.random.default_rng(3)
    shared, own = rng.normal(size=(2, 400, 2))
    part = np.arange(400) // 40
    together = PairedErrors(shared, 2.0 * shared, part)
    apart = PairedErrors(shared, 2.0 * own, part)
    narrow, wide = (paired_difference([pair], *RMS).difference.ci95 for pair in (together, apart))
    assert narrow[1] - narrow[0] < 0.7 * (wide[1] - wide[0])


def test_one_large_error_the_other_way_leaves_no_verdict():
    """Ours is worse in fourteen parts of fifteen, and by far better in the last: neither is called better."""
    ours = np.append(np.full(14, 0.05), 0.9)[:, np.newaxis]
    theirs = np.append(np.full(14, 0.02), 1.0)[:, np.newaxis]
    pair = PairedErrors(ours, theirs, np.arange(15))
    sizes = [float(np.sqrt(np.mean(part**2))) for part in (ours, theirs)]
    found = paired_difference([pair], *(measured(size, None, 15, "rms", "few") for size in sizes))
    assert found.difference.value < 0.0
    assert found.verdict is ComparisonVerdict.NO_CLEAR_GAIN
