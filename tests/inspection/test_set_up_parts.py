"""The pieces that the search for faults of the set-up is made of, each against what it must be."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from setup_faults import FAULTS, SEEDS, healthy_session, with_fault, without_truth

from locbench.config import SessionConfig, load_config
from locbench.config.scenario import CameraReport
from locbench.geometry import between, compose
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.frame_changes import frame_changes, straightness
from locbench.inspection.least import find_least, standard_sides
from locbench.inspection.limits import is_notable, severity
from locbench.inspection.misfit import misfit
from locbench.inspection.odometry_changes import LENGTH_FACTORS, odometry_changes
from locbench.inspection.recorded import Odometry, Recorded, Wheels, recorded
from locbench.inspection.references import references, start_by
from locbench.inspection.residuals import position_residuals
from locbench.inspection.rest import resting_drift
from locbench.inspection.search import search
from locbench.inspection.setup import setup_faults
from locbench.inspection.tag_changes import tag_changes
from locbench.inspection.time_changes import time_changes
from locbench.inspection.wheel_scales import scale_estimates
from locbench.odometry import dead_reckon, measure_motion
from locbench.session import Severity, read_session


@pytest.fixture(scope="module", params=[CameraReport.ROBOT_POSE, CameraReport.TAG_POSE, CameraReport.RANGE_BEARING])
def folder(request, tmp_path_factory):
    return healthy_session(tmp_path_factory.mktemp("parts") / request.param.value, SEEDS[0], request.param)


def read(folder):
    return read_session(folder), load_config(folder / "session.toml", SessionConfig)


@pytest.fixture(scope="module")
def log(folder):
    return recorded(*read(folder))


@given(st.floats(-3.0, 3.0), st.floats(0.05, 2.0), st.floats(0.0, 0.5))
def test_the_least_of_a_parabola_and_its_standard_deviation(least_at, std, start):
    def cost(value):
        return 0.5 * ((value - least_at) / std) ** 2

    found = find_least(cost, least_at + start, 0.1, 1e-3)
    assert found == pytest.approx(least_at, abs=1e-2)
    for side in standard_sides(cost, least_at, std / 20.0):
        assert 0.999 * std <= side <= 1.15 * std


@given(st.floats(0.05, 0.5))
def test_a_flat_cost_is_as_wide_as_it_is(half_width):
    sides = standard_sides(lambda value: max(0.0, abs(value) - half_width) * 1e6, 0.0, 0.01)
    assert sides == pytest.approx((half_width, half_width), rel=0.13)


def test_outliers_cannot_dominate_the_cost():
    scale = np.full(100, 0.05)
    honest = position_residuals(np.full(100, 0.03), scale, 50.0)
    with_flips = position_residuals(np.where(np.arange(100) < 5, 4.0, 0.03), scale, 50.0)
    shifted = position_residuals(np.full(100, 0.15), scale, 50.0)
    assert honest.mean_cost < with_flips.mean_cost < shifted.mean_cost
    assert with_flips.typical_m == pytest.approx(0.03)


def test_the_path_is_that_of_dead_reckoning(folder, log):
    session, _ = read(folder)
    motion = measure_motion(session.odometry, session.robot)
    poses = dead_reckon(motion, log.start)
    poses = poses[np.isin(motion.time_s, log.odometry.time_s)]
    there = compose(log.start, log.odometry.path)
    # dead reckoning weighs the pods against each other, which a search among set-ups has no need to
    assert np.max(np.hypot(*(poses[:, :2] - there[:, :2]).T)) < 0.01
    assert np.max(np.abs(poses[:, 2] - there[:, 2])) < 1e-9


def test_what_is_taken_over_equals_what_is_computed_anew(log):
    base = misfit(log)
    for change in [*odometry_changes(log), *tag_changes(log)]:
        quick, anew = base.of(change.log), misfit(change.log)
        assert {kind: left.mean_cost for kind, left in quick.residuals.items()} == {
            kind: left.mean_cost for kind, left in anew.residuals.items()
        }


def test_a_change_that_leaves_nothing_to_compare_saves_nothing(log):
    base = misfit(log)
    blind = replace(log, visits=None, truth=None, fixes=None, rays=None)
    assert base.cost_of(base.of(blind)) == pytest.approx(base.cost)


def test_marks_carried_by_odometry_agree_with_the_truth(log):
    assert log.truth is not None
    times = np.linspace(log.start_s + 1.0, log.odometry.time_s[-1] - 1.0, 200)
    by_truth = references(log, times)
    by_marks = references(replace(log, truth=None), times)
    known = np.isfinite(by_marks[:, 0])
    assert 0.2 < np.mean(known) < 1.0
    error = between(by_truth[known], by_marks[known])
    assert np.max(np.hypot(error[:, 0], error[:, 1])) < 0.05


@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0), st.floats(-3.0, 3.0))
@settings(max_examples=25)
def test_the_start_is_found_back_from_what_follows(x, y, turn):
    times = np.linspace(0.0, 4.0, 81)
    travel = np.column_stack([0.5 * times - 0.02 * times**2, 0.5 * times + 0.02 * times**2, 0.1 * times])
    rows = np.array([[1.0, 0.0, -0.1], [1.0, 0.0, 0.1], [0.0, 1.0, 0.0]])
    odometry = Odometry(times, Wheels(("left", "right", "cross"), travel, rows, np.ones(3)), None, False)
    start = np.array([x, y, turn])
    poses = compose(start, odometry.path)
    log = Recording(odometry, 0.0)
    found, std = start_by(log, times[10:40], poses[10:40])
    assert found == pytest.approx(start, abs=1e-9)
    assert std == pytest.approx(np.zeros(3), abs=1e-9)


class Recording:
    """As much of a recorded log as finding the start asks for."""

    def __init__(self, odometry, start_s):
        self.odometry, self.start_s = odometry, start_s


def test_the_units_that_lengths_are_taken_for():
    assert any(factor == pytest.approx(25.4) for factor in LENGTH_FACTORS)
    assert any(factor == pytest.approx(1 / 0.3048) for factor in LENGTH_FACTORS)
    assert all(any(factor * other == pytest.approx(1.0) for other in LENGTH_FACTORS) for factor in LENGTH_FACTORS)


@pytest.mark.parametrize("factor", [0.9, 1.0, 1.25])
def test_wheels_are_scaled_by_marks_alone(log, factor):
    wheels = log.odometry.measured
    scaled = replace(wheels, travel_m=wheels.travel_m / factor)
    odometry = replace(log.odometry, measured=scaled)
    without = replace(log, odometry=odometry, truth=None, fixes=None, rays=None)
    common = [one for one in scale_estimates(without, odometry, scaled) if one.names == wheels.names]
    assert len(common) == 1
    # the wheels of the simulated robot are worn by 0.2 % themselves
    assert common[0].factor == pytest.approx(factor, rel=0.02)


def test_a_drift_at_rest_is_measured_after_the_first_motion(log):
    odometry = log.odometry
    rate = math.radians(0.2)
    drifting = replace(odometry, heading_rad=odometry.heading_rad + rate * odometry.time_s)
    before, after = (resting_drift(replace(log, odometry=one), math.radians(0.05)) for one in (odometry, drifting))
    assert after.rate_rad_per_s - before.rate_rad_per_s == pytest.approx(rate, rel=1e-6)
    assert before.count == after.count >= 5
    assert abs(before.rate_rad_per_s) < 3.0 * before.std_rad_per_s


def test_a_log_without_standstills_says_nothing_of_the_drift(log):
    odometry = log.odometry
    moving = replace(odometry.measured, travel_m=odometry.measured.travel_m + odometry.time_s[:, np.newaxis])
    assert resting_drift(replace(log, odometry=replace(odometry, measured=moving)), 0.001) is None


@given(st.floats(-math.pi, math.pi), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0), st.booleans())
@settings(max_examples=50)
def test_a_frame_is_found_whatever_its_turn_and_origin(turn, x, y, mirrored):
    rng = np.random.default_rng(7)
    there = np.column_stack([rng.uniform(0.0, 4.0, (60, 2)), rng.uniform(-3.0, 3.0, 60)])
    pose = compose(np.array([x, y, turn]), there)
    if mirrored:
        pose = pose * [1.0, -1.0, -1.0]
    rebuilt = []
    changes = list(frame_changes(Part.TAGS, pose, np.zeros(3), there, lambda poses: rebuilt.append(poses) or poses))
    fault = SetupFault.FRAME_MIRRORED if mirrored else SetupFault.FRAME_ROTATED
    best = min(
        (change for change in changes if change.fault is fault),
        key=lambda change: np.max(np.abs(between(there, change.log))),
    )
    assert np.max(np.abs(between(there, best.log))) < 1e-6


def test_how_straight_points_lie():
    line = np.column_stack([np.linspace(0.0, 3.0, 50), 0.5 * np.linspace(0.0, 3.0, 50)])
    along, across = straightness(line)
    assert across < 1e-9 < along
    turned = straightness(line @ np.array([[0.0, 1.0], [-1.0, 0.0]]))
    assert turned == pytest.approx((along, across), abs=1e-9)


def test_small_deviations_are_wear_and_large_ones_errors(log):
    def scaled(factor, std=0.0):
        return Change(
            SetupFault.POD_SCALE, Part.WHEELS, log, 1, amounts={Amount.FACTOR: factor}, stds={Amount.FACTOR: std}
        )

    assert not is_notable(scaled(1.01))
    assert not is_notable(scaled(1.2, std=0.1))
    assert is_notable(scaled(0.95))
    assert severity(scaled(0.95)) is Severity.WARNING
    assert severity(scaled(1.5)) is Severity.ERROR
    turned = Change(SetupFault.HEADING_ZERO, Part.TAGS, log, 1, amounts={Amount.TURN: 2.0 * math.pi + 0.001})
    assert not is_notable(turned)


def test_a_healthy_log_needs_no_change(log):
    assert search(log) == ()
    assert search(replace(log, truth=None)) == ()


def test_two_faults_at_once_are_both_found(tmp_path):
    session = healthy_session(tmp_path / "two", SEEDS[1], CameraReport.ROBOT_POSE)
    without_truth(session)
    by_name = {fault.name: fault for fault in FAULTS}
    for name in ("right pod not marked as reversed", "y of tag poses negated"):
        by_name[name].make(session)
    codes = {found.code for found in setup_faults(*read(session)) if found.severity is Severity.ERROR}
    assert codes == {SetupFault.POD_REVERSED, SetupFault.FRAME_MIRRORED}


def test_a_straight_drive_without_headings_is_said_to_be_too_straight(tmp_path):
    session = healthy_session(tmp_path / "straight", SEEDS[0], CameraReport.ROBOT_POSE)
    config = session / "session.toml"
    text = config.read_text()
    config.write_text(text.replace('heading = { column = "heading_deg", unit = "deg" }\nrange', "range"))
    tags = session / "tags.csv"
    head, *rows = tags.read_text().splitlines()
    # the first straight leg alone
    tags.write_text("\n".join([head, *rows[:150]]) + "\n")
    named = {found.code: found for found in setup_faults(*read(session))}
    straight = named.get(SetupFault.PATH_TOO_STRAIGHT)
    fixes = recorded(*read(session)).fixes
    along, across = straightness(fixes.pose[:, :2])
    assert (straight is not None) == (across < max(0.10, 0.05 * along))
    assert straight is None or straight.severity is Severity.NOTE


def test_every_fault_with_a_fault_in_the_numbers_has_finite_evidence(tmp_path):
    session = healthy_session(tmp_path / "numbers", SEEDS[2], CameraReport.ROBOT_POSE)
    fault = next(fault for fault in FAULTS if fault.name == "tag clock 1.5 s behind")
    found = setup_faults(*read(with_fault(session, tmp_path / "fault", fault)))
    assert [one.code for one in found] == [SetupFault.CLOCK_SHIFT]
    numbers = {number.name: number for number in found[0].measured}
    assert numbers["shift"].value == pytest.approx(1.5, abs=0.06)
    assert all(math.isfinite(number.value) for number in found[0].measured)


def test_the_delay_of_a_published_kind_of_signal_is_found():
    """A computed example of a time offset between two turn rates: 50 Hz, 20 s, 0.073 s (no publication claimed)."""
    times = np.arange(0.0, 20.0, 0.02)

    def heading(at):
        """The integral of sin 1.3 t + 0.6 sin(2.9 t + 0.4) + 0.3 sin(4.7 t + 1.1)."""
        return -np.cos(1.3 * at) / 1.3 - 0.6 * np.cos(2.9 * at + 0.4) / 2.9 - 0.3 * np.cos(4.7 * at + 1.1) / 4.7

    rows = np.array([[1.0, 0.0, -0.12], [1.0, 0.0, 0.12], [0.0, 1.0, -0.1]])
    travel = np.column_stack([0.4 * times + row[2] * heading(times) for row in rows[:2]] + [-0.1 * heading(times)])
    wheels = Wheels(("left", "right", "cross"), travel, rows, np.ones(3))
    odometry = Odometry(times, wheels, heading(times - 0.073), True)
    late = Recorded(odometry, 0.0, np.zeros(3), np.zeros(3), None, None, None, None, np.zeros(3))
    shifts = [change for change in time_changes(misfit(late)) if change.part is Part.GYRO]
    assert len(shifts) == 1
    assert shifts[0].amounts[Amount.SHIFT] == pytest.approx(-0.073, abs=1e-3)
