import dataclasses

import numpy as np
import pytest
from builders import START, detections, fusion, motion, range_detections, sightings

from locbench.accuracy import (
    DriftSegments,
    against_marks,
    against_truth,
    confounded_terms,
    drift_numbers,
    drift_segments,
    equal_parts,
    joined,
    judged,
    longest_without_fix,
    mean_innovation_squared,
    mean_normalised_error_squared,
    outlying_segments,
    residual_numbers,
    summarise,
    summarise_uncorrected,
    tag_residuals,
    typical_innovation_squared,
    visits_on_reference,
)
from locbench.config import MotionNoise
from locbench.fusion import dead_reckoning, fuse
from locbench.geometry import wrap_angle
from locbench.odometry import dead_reckon
from locbench.reference import Reference
from locbench.session import MarkVisits
from locbench.statistics import CorrectionVerdict

NOISE = MotionNoise()
DRIVE = motion(rows=400)
POSES = dead_reckon(DRIVE, START.pose)
ESTIMATE = dead_reckoning(DRIVE, START, NOISE)
SHIFT = np.array([0.03, -0.04, 0.02])
NO_GAP = np.zeros(len(DRIVE.time_s), dtype=bool)
TRUTH = Reference(DRIVE.time_s, POSES - SHIFT, NO_GAP, 0.001, 0.001)


def _visits(*spans, heading=True):
    rows = [np.searchsorted(DRIVE.time_s, (a + b) / 2) for a, b in spans]
    pose = (POSES - SHIFT)[rows]
    if not heading:
        pose = pose * [1, 1, np.nan]
    return MarkVisits(
        name=tuple(f"M{i}" for i in range(len(spans))),
        begin_s=np.array([a for a, _ in spans]),
        end_s=np.array([b for _, b in spans]),
        pose=pose,
        position_std_m=np.full(len(spans), 0.002),
        heading_std_rad=np.full(len(spans), 0.003),
    )


def test_a_constant_offset_is_measured_as_it_is():
    numbers = summarise([against_truth(ESTIMATE, DRIVE, TRUTH, 0)])
    assert numbers.count == len(DRIVE.time_s)
    assert numbers.coverage == 1.0
    assert numbers.position_rms_m.value == pytest.approx(0.05)
    assert numbers.position_mean_m.value == pytest.approx(0.05)
    assert numbers.position_max_m.value == pytest.approx(0.05)
    assert numbers.position_cep50_m.value == pytest.approx(0.05)
    assert numbers.heading_rms_rad.value == pytest.approx(0.02)
    # a constant error is one observation, however long it lasts
    assert numbers.position_rms_m.ci95 is None
    assert numbers.position_r95_m.value is None


def test_the_last_error_carries_the_references_uncertainty():
    last = summarise([against_truth(ESTIMATE, DRIVE, TRUTH, 0)]).position_last_m
    assert last.ci95 == pytest.approx((0.05 - 1.96 * 0.001, 0.05 + 1.96 * 0.001), abs=1e-5)


def test_a_press_takes_the_pose_then_and_a_dwell_its_mean_after_settling():
    press, dwell = DRIVE.time_s[100], (DRIVE.time_s[200], DRIVE.time_s[230])
    found = against_marks(ESTIMATE, DRIVE, _visits((press, press), dwell), 0)
    np.testing.assert_allclose(found.believed[0], POSES[100], atol=1e-12)
    inside = (DRIVE.time_s >= dwell[0] + 0.3) & (DRIVE.time_s <= dwell[1])
    np.testing.assert_allclose(found.believed[1, :2], POSES[inside, :2].mean(axis=0), atol=1e-12)
    assert found.reference_covariance[0, 0, 0] == pytest.approx(4e-6)


def test_headings_are_averaged_round_the_circle():
    turned = dataclasses.replace(
        ESTIMATE, track=dataclasses.replace(ESTIMATE.track, pose=ESTIMATE.track.pose * [1, 1, 0] + [0, 0, np.pi])
    )
    still = dataclasses.replace(DRIVE, twist=np.zeros_like(DRIVE.twist))
    dwell = (DRIVE.time_s[200], DRIVE.time_s[230])
    found = against_marks(turned, still, _visits(dwell), 0)
    assert abs(wrap_angle(found.believed[0, 2] - np.pi)) < 1e-9


def test_marks_without_headings_still_give_positions():
    spans = [(DRIVE.time_s[i], DRIVE.time_s[i]) for i in (50, 150, 250)]
    comparison = against_marks(ESTIMATE, DRIVE, _visits(*spans, heading=False), 0)
    numbers = summarise([comparison])
    assert numbers.count == 3
    assert numbers.heading_rms_rad.value is None
    assert numbers.position_rms_m.value == pytest.approx(0.05)
    assert len(drift_segments(comparison)) == 0
    assert mean_normalised_error_squared(comparison).value is not None


def test_a_stretch_boundary_breaks_the_drift_segments():
    spans = [(DRIVE.time_s[i], DRIVE.time_s[i]) for i in (50, 150, 250, 350)]
    one = against_marks(ESTIMATE, DRIVE, _visits(*spans[:2]), 0)
    other = against_marks(ESTIMATE, DRIVE, _visits(*spans[2:]), 1)
    assert len(drift_segments(joined([one, other]))) == 2


def test_drift_of_a_scale_error_is_its_share():
    truth = Reference(
        DRIVE.time_s,
        dead_reckon(dataclasses.replace(DRIVE, twist=DRIVE.twist * [1 / 1.02, 1 / 1.02, 1]), START.pose),
        NO_GAP,
        0,
        0,
    )
    comparison = equal_parts(against_truth(ESTIMATE, DRIVE, truth, 0), 10)
    drift = drift_numbers(drift_segments(comparison))
    assert 0.005 < drift.position_per_metre.value <= 0.021
    assert drift.heading_per_metre_rad.value == pytest.approx(0.0, abs=1e-12)
    assert drift.segment_length_m.value == pytest.approx(comparison.path_length_m[-1] / 10, rel=0.1)


def test_nees_is_that_of_the_definition():
    comparison = against_marks(ESTIMATE, DRIVE, _visits(*[(DRIVE.time_s[i],) * 2 for i in (50, 150)]), 0)
    total = 0.0
    for i in range(2):
        e = np.array([*(comparison.believed - comparison.reference)[i, :2], 0.02])
        p = comparison.believed_covariance[i] + comparison.reference_covariance[i]
        total += e @ np.linalg.inv(p) @ e
    assert mean_normalised_error_squared(comparison).value == pytest.approx(total / 6)


def test_nis_of_an_honest_filter_lies_in_its_band():
    config = fusion(
        trust={},
        tag_noise={
            "along_floor": "20 mm",
            "along_at_one_metre": "0 mm",
            "across_floor": "20 mm",
            "across_at_one_metre": "0 mm",
            "heading_floor": "0.573 deg",
            "heading_at_one_metre": "0 deg",
            "view_angle_growth": 0.0,
        },
    )
    found = detections(DRIVE, POSES, count=300)
    value = found.value.copy()
    value[::8, :2] -= 1.5
    honest = dataclasses.replace(found, value=value)
    quiet = MotionNoise(
        **{name: f"{1e-6} {'deg' if 'heading' in name else 'mm'}" for name in NOISE.model_dump() if "_per_" in name}
    )
    corrections = fuse(DRIVE, START, sightings(honest, config), config, quiet).corrections
    mean, band = mean_innovation_squared([corrections])
    assert band[0] < mean.value < band[1]
    low, high = typical_innovation_squared([corrections]).ci95
    assert low < 1.0 < high
    timid = fusion(trust={}, tag_noise={"along_floor": "60 mm", "across_floor": "60 mm", "heading_floor": "2 deg"})
    corrections = fuse(DRIVE, START, sightings(honest, timid), timid, quiet).corrections
    mean, band = mean_innovation_squared([corrections])
    assert mean.value < band[0]
    assert typical_innovation_squared([corrections]).ci95[1] < 1.0


def test_a_few_wrong_fixes_move_the_mean_innovation_but_not_the_typical_one():
    config = fusion(tag_noise={"along_floor": "20 mm", "across_floor": "20 mm"})
    corrections = fuse(DRIVE, START, sightings(detections(DRIVE, POSES, count=200), config), config, NOISE).corrections
    mean, band = mean_innovation_squared([corrections])
    assert mean.value > 10 * band[1]
    assert typical_innovation_squared([corrections]).value < 2.0


def test_corrections_are_judged_against_the_truth():
    config = fusion()
    found = detections(DRIVE, POSES - SHIFT, count=60)
    corrections = fuse(DRIVE, START, sightings(found, config), config, NOISE).corrections
    verdicts = judged(corrections, TRUTH.at(corrections.arrived_s))
    assert all((v is None) == (not ok) for v, ok in zip(verdicts, corrections.accepted, strict=True))
    truth = TRUTH.poses_at(corrections.arrived_s)[:, :2]
    before = np.linalg.norm(corrections.before[:, :2] - truth, axis=1)
    after = np.linalg.norm(corrections.after[:, :2] - truth, axis=1)
    for i, verdict in enumerate(verdicts):
        if verdict is CorrectionVerdict.HELPED:
            assert after[i] < before[i]
        if verdict is CorrectionVerdict.HURT:
            assert after[i] > before[i]
    assert CorrectionVerdict.HELPED in verdicts


def test_the_longest_time_without_a_fix_includes_the_ends():
    config = fusion(correction={"mode": "none"}, trust={})
    corrections = fuse(DRIVE, START, sightings(detections(DRIVE, POSES, count=1), config), config, NOISE).corrections
    arrival, span = corrections.arrived_s[0], (DRIVE.time_s[0], DRIVE.time_s[-1])
    assert longest_without_fix(corrections, DRIVE) == max(arrival - span[0], span[1] - arrival)


def test_visits_take_their_poses_from_the_truth_over_the_same_moments_as_the_belief():
    """Even on the move, an exact estimate has no error at a visit."""
    visits = visits_on_reference(_visits((DRIVE.time_s[50], DRIVE.time_s[90])), TRUTH)
    exact = Reference(DRIVE.time_s, POSES, NO_GAP, 0.001, 0.001)
    on_the_move = visits_on_reference(_visits((DRIVE.time_s[50], DRIVE.time_s[90])), exact)
    np.testing.assert_allclose(against_marks(ESTIMATE, DRIVE, on_the_move, 0).error, 0.0, atol=1e-12)
    assert visits.position_std_m[0] == 0.001


def test_visits_keep_what_the_truth_does_not_know():
    spans = ((DRIVE.time_s[50], DRIVE.time_s[60]), (DRIVE.time_s[250], DRIVE.time_s[260]))
    marks = _visits(*spans)
    positions_only = Reference(DRIVE.time_s, (POSES - SHIFT) * [1, 1, np.nan], NO_GAP, 0.001, 0.0)
    seen = visits_on_reference(marks, positions_only)
    np.testing.assert_array_equal(seen.pose[:, 2], marks.pose[:, 2])
    np.testing.assert_array_equal(seen.heading_std_rad, marks.heading_std_rad)
    assert seen.position_std_m.tolist() == [0.001, 0.001]
    early = Reference(DRIVE.time_s[:200], POSES[:200], NO_GAP[:200], 0.001, 0.001)
    seen = visits_on_reference(marks, early)
    assert seen.position_std_m.tolist() == [0.001, 0.002]
    np.testing.assert_array_equal(seen.pose[1], marks.pose[1])


def test_a_reference_with_a_gap_leaves_corrections_inside_it_undecided():
    gap = NO_GAP.copy()
    gap[200] = True
    keep = np.ones(len(gap), dtype=bool)
    keep[100:200] = False
    broken = Reference(DRIVE.time_s[keep], (POSES - SHIFT)[keep], gap[keep], 0.001, 0.001)
    config = fusion()
    found = detections(DRIVE, POSES - SHIFT, count=60)
    corrections = fuse(DRIVE, START, sightings(found, config), config, NOISE).corrections
    inside = (corrections.arrived_s > DRIVE.time_s[99]) & (corrections.arrived_s < DRIVE.time_s[200])
    decided = {CorrectionVerdict.HELPED, CorrectionVerdict.HURT}
    verdicts = judged(corrections, broken.at(corrections.arrived_s))
    assert inside.sum() > 5
    assert not any(verdict in decided for verdict, gone in zip(verdicts, inside, strict=True) if gone)
    assert any(verdict in decided for verdict, gone in zip(verdicts, inside, strict=True) if not gone)


def test_equal_parts_are_cut_stretch_by_stretch():
    halves = [DRIVE.within(DRIVE.time_s[0], DRIVE.time_s[300]), DRIVE.within(DRIVE.time_s[301], DRIVE.time_s[-1])]
    parts = [against_truth(dead_reckoning(half, START, NOISE), half, TRUTH, i) for i, half in enumerate(halves)]
    segments = drift_segments(equal_parts(joined(parts), 20))
    total = sum(half.path_length_m[-1] for half in halves)
    assert 16 <= len(segments) <= 21
    assert segments.length_m.sum() == pytest.approx(total, rel=0.02)


def test_a_press_between_two_stretches_is_at_an_end_of_both():
    cut = DRIVE.time_s[200]
    press = _visits((cut, cut))
    first, second = DRIVE.within(DRIVE.time_s[0], cut), DRIVE.within(cut, DRIVE.time_s[-1])
    # the replay counts it once, see tests/jobs
    assert len(against_marks(ESTIMATE, first, press, 0)) == 1
    found = against_marks(dead_reckoning(second, START, NOISE), second, press, 1)
    assert found.source.tolist() == [0]


def test_a_visit_without_reference_does_not_hide_the_others():
    spans = [(DRIVE.time_s[i],) * 2 for i in (50, 150)]
    visits = _visits(*spans)
    lost = dataclasses.replace(visits, pose=visits.pose * [[1, 1, 1], [np.nan, 1, 1]])
    comparison = against_marks(ESTIMATE, DRIVE, lost, 0)
    assert mean_normalised_error_squared(comparison).value is not None
    assert summarise([comparison]).count == 1


def test_what_nothing_corrects_counts_each_run_once():
    runs = [against_truth(ESTIMATE, DRIVE, TRUTH, 0)]
    assert summarise_uncorrected(runs).position_rms_m.ci95 is None
    assert summarise_uncorrected(runs * 5).position_rms_m.ci95 is None
    spread = [
        against_truth(ESTIMATE, DRIVE, dataclasses.replace(TRUTH, pose=POSES - k * SHIFT), 0)
        for k in (0.5, 1.0, 1.5, 0.8, 1.2, 1.1, 0.9)
    ]
    assert summarise_uncorrected(spread).position_rms_m.ci95 is not None


def test_several_runs_are_taken_together():
    run = against_truth(ESTIMATE, DRIVE, TRUTH, 0)
    numbers = summarise([run] * 8)
    assert numbers.count == 8 * len(run)
    assert numbers.position_rms_m.ci95 is not None


def test_a_lasting_heading_error_counts_once_however_its_position_errors_swing():
    """Position errors of alternating sign under one constant heading error are one observation, not many."""
    visits = _visits(*[(DRIVE.time_s[i],) * 2 for i in range(10, 390, 20)])
    swing = np.random.default_rng(2).normal(size=(len(visits), 2))
    swung = dataclasses.replace(visits, pose=visits.pose + np.column_stack([swing, np.zeros(len(visits))]))
    numbers = summarise([against_marks(ESTIMATE, DRIVE, swung, 0)])
    assert numbers.position_rms_m.ci95 is None
    blind = dataclasses.replace(swung, pose=swung.pose * [1, 1, np.nan])
    assert summarise([against_marks(ESTIMATE, DRIVE, blind, 0)]).position_rms_m.ci95 is not None


def test_segments_that_gain_far_more_than_the_others_stand_out():
    comparison = equal_parts(against_truth(ESTIMATE, DRIVE, TRUTH, 0), 12)
    shifted = comparison.reference.copy()
    shifted[6:, 0] += 1.0
    struck = drift_segments(dataclasses.replace(comparison, reference=shifted))
    assert outlying_segments(struck).tolist() == [5]
    rng = np.random.default_rng(0)
    noisy = dataclasses.replace(struck, error=rng.normal(size=struck.error.shape) * struck.length_m[:, None])
    assert len(outlying_segments(noisy)) == 0


def _segments(metres, turns, minutes):
    count = len(metres)
    return DriftSegments(
        start_s=np.arange(float(count)),
        length_m=np.array(metres, dtype=float),
        turning_rad=np.array(turns, dtype=float),
        duration_s=np.array(minutes, dtype=float),
        error=np.zeros((count, 3)),
        reference_variance=np.zeros((count, 2)),
    )


@pytest.mark.parametrize(
    ("metres", "turns", "minutes", "groups"),
    [
        ([1, 2, 3, 4], [4, 1, 0, 2], [2, 4, 6, 8], [["metres", "minutes"]]),
        ([1, 2, 3, 4], [1, 2, 3, 4], [4, 1, 0, 2], [["metres", "turns"]]),
        ([1, 2, 3, 4], [1, 2, 3, 4], [1, 2, 3, 4], [["metres", "turns", "minutes"]]),
        ([3], [2], [1], [["metres", "turns", "minutes"]]),
        ([1, 2, 3, 4], [0, 0, 0, 0], [4, 1, 0.5, 2], []),
        ([1, 0.2, 3, 0.1, 2], [0, 2, 0, 3, 0.1], [5, 1, 0.3, 0.2, 9], []),
        # no two alike, but minutes are metres plus turns: a constant speed and a constant turn rate
        ([1, 3, 2, 4, 1], [3, 1, 2, 0, 2], [4, 4, 4, 4, 3], [["metres", "turns", "minutes"]]),
    ],
)
def test_terms_that_never_varied_apart_are_named(metres, turns, minutes, groups):
    assert confounded_terms(_segments(metres, turns, minutes)) == groups


def test_confounded_rates_are_known_ten_times_worse():
    """The factor of ten is that of the variance of a least-squares rate, by simulation."""
    rng = np.random.default_rng(1)
    metres = rng.uniform(1.0, 3.0, size=20)
    apart, alike = rng.uniform(1.0, 3.0, size=20) * rng.uniform(0, 2, size=20), metres * rng.normal(1.0, 0.05, size=20)

    def variance(minutes):
        design = np.column_stack([metres, minutes])
        noise = rng.normal(size=(20, 4000))
        return np.var(np.linalg.lstsq(design, noise, rcond=None)[0][0])

    alone = 1.0 / np.sum(metres**2)
    assert variance(alike) > 10.0 * alone
    assert confounded_terms(_segments(metres, np.zeros(20), alike)) == [["metres", "minutes"]]
    assert variance(apart) < 10.0 * alone
    assert confounded_terms(_segments(metres, np.zeros(20), apart)) == []


def test_a_fix_is_set_against_the_pose_published_before_it():
    """Fixes a constant step beside dead reckoning: that step is the residual, even where a fix counts at once."""
    found = detections(DRIVE, POSES, count=40)
    heading = np.array([np.interp(found.captured_s, DRIVE.time_s, POSES[:, i]) for i in range(3)]).T
    step = np.array([0.2, -0.1, 0.05])
    exact = dataclasses.replace(found, value=heading + step, arrived_s=found.captured_s)
    residual = tag_residuals(ESTIMATE, DRIVE, exact)
    np.testing.assert_allclose(residual, np.tile(step, (40, 1)), atol=2e-3)
    taught = fuse(DRIVE, START, sightings(exact, fusion(trust={})), fusion(trust={}), NOISE)
    learnt = tag_residuals(taught, DRIVE, exact)
    assert np.linalg.norm(learnt[0, :2]) == pytest.approx(np.hypot(0.2, 0.1), abs=0.01)
    assert np.linalg.norm(learnt[-1, :2]) < 0.1


def test_residuals_in_numbers():
    found = detections(DRIVE, POSES, count=200)
    numbers = residual_numbers([tag_residuals(ESTIMATE, DRIVE, found)])
    # one in eight lies 1.5 m off along both axes, the rest 2 cm
    assert numbers.residual_rms_m.value == pytest.approx(1.5 * np.sqrt(2 / 8), rel=0.02)
    assert numbers.residual_median_m.value == pytest.approx(0.027, abs=0.006)
    assert numbers.residual_heading_rms_rad.value == pytest.approx(0.01, abs=0.003)


def test_ranges_and_empty_logs_have_no_residual():
    assert len(tag_residuals(ESTIMATE, DRIVE, range_detections(DRIVE, POSES))) == 0
    assert residual_numbers([]).residual_rms_m.value is None
    blind = np.array([[0.1, 0.0, np.nan]] * 8) * np.where(np.arange(8) % 2, 1, -1)[:, None]
    assert residual_numbers([blind]).residual_heading_rms_rad.value is None
