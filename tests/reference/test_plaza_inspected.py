"""What an inspection names in a real robot's log: the open Plaza data sets (see tests/plaza.py for the source)."""

import numpy as np
import pytest
from plaza import write_plaza

from locbench.inspection.diagnosis import LogFault, SetupFault
from locbench.jobs.inspect import inspect


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Both logs with ranges taken as they are: their scale is another matter."""
    return {number: write_plaza(tmp_path_factory.mktemp(f"plaza{number}"), number, "poses", 1.0) for number in (1, 2)}


@pytest.fixture(scope="module")
def found(folders):
    inspected = {number: inspect(plaza.folder).inspection for number, plaza in folders.items()}
    return {number: {one.code: one for one in result.diagnoses} for number, result in inspected.items()}


def test_the_ranges_clock_steps_back_twice_in_the_first_log(found):
    stepped = found[1]["unsorted_time"]
    assert "2 times, by 64.4 s, 50.1 s" in stepped.evidence
    assert stepped.measured["largest_step"].value == pytest.approx(64.4, abs=0.05)
    assert "unsorted_time" not in found[2]


def test_the_truth_heading_of_the_first_log_is_the_odometrys(found):
    copied = found[1]["truth_heading_is_odometry"]
    assert copied.severity == "warning"
    assert copied.measured["difference_rms"].value < 1e-9
    assert not {"truth_is_odometry", "truth_heading_is_odometry"} & set(found[2])
    # positions are an instrument's own in both
    assert "truth_is_odometry" not in found[1]


def test_the_longest_stretch_without_a_range(folders, found):
    view = inspect(folders[1].folder).inspection.tag_view
    assert view.longest_without_s == pytest.approx(96.8, abs=0.05)
    assert found[1]["tag_view"].severity == "warning"
    assert found[2]["tag_view"].severity == "note"
    assert found[2]["tag_view"].measured["share_of_time"].value == pytest.approx(1.0, abs=0.005)


def test_nothing_else_is_held_against_two_real_logs(found):
    of_the_log = {fault.value for fault in LogFault}
    named = {
        number: {code for code, one in faults.items() if code in of_the_log and one.severity != "note"}
        for number, faults in found.items()
    }
    assert named == {1: {"tag_view", "truth_heading_is_odometry"}, 2: set()}


def test_the_tables_are_counted_as_they_stand_in_the_files(folders):
    for plaza in folders.values():
        tables = {table.table: table for table in inspect(plaza.folder).inspection.tables}
        assert tables["truth"].rows == len(plaza.truth)
        assert tables["odometry"].rows == len(plaza.reckoned)
        assert tables["odometry"].rate_hz == pytest.approx(1.0 / np.median(np.diff(plaza.reckoned[:, 0])), rel=1e-6)


@pytest.mark.parametrize("number", [1, 2])
def test_the_ranges_are_seven_percent_long(found, number):
    """The scale of 1.070, the same for every beacon in both runs, was computed from the files: a regression value."""
    scale = found[number]["range_scale"]
    assert scale.severity == "error"
    assert "7.0 % too long" in scale.evidence
    factor = scale.measured["factor"]
    assert 1.0 / factor.value == pytest.approx(1.070, abs=0.002)
    (change,) = scale.changes
    assert change.key == "tags.range_scale"
    assert float(change.line.split("=")[1]) == pytest.approx(1.070, abs=0.002)


@pytest.mark.parametrize("number", [1, 2])
def test_with_the_scale_written_the_set_up_is_sound(tmp_path, number):
    folder = write_plaza(tmp_path, number, "poses", 1.070).folder
    of_the_set_up = {fault.value for fault in SetupFault}
    assert not of_the_set_up & {one.code for one in inspect(folder).inspection.diagnoses}


def test_the_gyro_of_the_second_log_drifts_while_the_mower_stands(tmp_path):
    """Its authors' odometry turns by -0.0053 rad/s against the truth over the whole run: computed from the files."""
    folder = write_plaza(tmp_path, 2, "increments", 1.070, {"per_minute": 0.5}).folder
    drift = {one.code: one for one in inspect(folder).inspection.diagnoses}["gyro_drift"]
    assert -0.009 < drift.measured["rate"].value < -0.003
