"""Sessions that are odd but valid, and conventions other than the usual: nothing crashes, nothing is named wrongly."""

import numpy as np
import pandas as pd
import pytest
from logs import MARKS, SmallLog
from setup_faults import healthy_session, without_truth

from locbench.config.scenario import CameraReport
from locbench.inspection.change import Change, Part, builds_on
from locbench.inspection.diagnosis import SetupFault
from locbench.jobs.inspect import inspect

SET_UP = {fault.value for fault in SetupFault}


def set_up_faults(folder):
    return [one for one in inspect(folder).inspection.diagnoses if one.code in SET_UP and one.severity != "note"]


def mended(folder):
    for file in inspect(folder).changed_files:
        (folder / file.name).write_text(file.changed_text)
    return set_up_faults(folder)


def test_ranges_beside_a_truth_without_headings_are_inspected(tmp_path):
    log = SmallLog(tmp_path / "log").with_truth()
    log.parts["truth"] = log.parts["truth"].replace('heading = { column = "h", unit = "deg" }\n', "")
    times = log.time[::10]
    log.tables["tags.csv"] = pd.DataFrame({"t": times, "id": 1, "b": 0.1})
    log.parts["tags"] = (
        '[tags]\nkind = "bearing"\nfile = "tags.csv"\ncaptured = { column = "t", unit = "s" }\nlatency = "40 ms"\n'
        'tag = "id"\nbearing = { column = "b", unit = "rad" }\n'
    )
    assert inspect(log.write()).usable


@pytest.mark.parametrize("kind", ["pod_counts", "increments", "velocities", "poses"])
def test_a_robot_that_never_moves_has_no_fault_of_its_set_up(kind, tmp_path):
    class Still(SmallLog):
        # the analytic arc needs some turning
        velocity = np.array([0.0, 0.0, 1e-9])

    assert set_up_faults(Still(tmp_path / "log", kind).with_tags().with_truth().write()) == []


def test_marks_are_not_moved_out_of_the_log_to_have_nothing_to_contradict(tmp_path):
    log = SmallLog(tmp_path / "log")
    # it drives all the time: at no shift it stands still, and outside the log nothing says whether it does
    begin = [1.0, 3.0, 5.0]
    log.tables["marks.csv"] = pd.DataFrame({"begin": begin, "end": np.add(begin, 1.0), "mark": ["S1", "M2", "S1"]})
    log.parts["marks"] = MARKS
    assert SetupFault.CLOCK_SHIFT not in [one.code for one in set_up_faults(log.write())]


def test_a_start_within_its_own_uncertainty_is_no_fault(tmp_path):
    head = (
        'name = "log"\nrobot = "robot.toml"\nfield = "field.toml"\n[start]\nx = "1.2 m"\ny = "0.8 m"\n'
        'heading = "6 deg"\nposition_std = "{} mm"\nheading_std = "{} deg"\n'
    )
    log = SmallLog(tmp_path / "log").with_truth()
    assert set_up_faults(log.write(head=head.format(200, 10))) == []
    surely = head.format(2, 1).replace("6 deg", "354 deg")
    (named,) = set_up_faults(log.write(head=surely))
    assert named.code == SetupFault.START_POSE
    assert named.measured["turn"].value == pytest.approx(np.radians(6.0), abs=0.01)


def test_increments_in_another_unit_of_length_are_named_so(tmp_path):
    log = SmallLog(tmp_path / "log", "increments").with_tags().with_truth()
    log.parts["odometry"] = log.parts["odometry"].replace('unit = "in"', 'unit = "cm"')
    folder = log.write()
    (named,) = set_up_faults(folder)
    assert named.code == SetupFault.LENGTH_UNIT
    assert mended(folder) == []


@pytest.mark.parametrize("unit", ["cm", "ft"])
def test_units_of_a_frame_with_an_origin_of_its_own_are_mended(unit, tmp_path):
    log = SmallLog(tmp_path / "log").with_tags().with_truth()
    log.tables["tags.csv"]["x"] -= 4.0
    log.tables["tags.csv"]["y"] -= 1.0
    part = log.parts["tags"] + 'frame = { origin_x = "4 m", origin_y = "1 m" }\n'
    log.parts["tags"] = part.replace('unit = "m"', f'unit = "{unit}"')
    folder = log.write()
    assert [one.code for one in set_up_faults(folder)] == [SetupFault.LENGTH_UNIT]
    assert mended(folder) == []


def test_a_mirrored_frame_whose_headings_are_zero_along_y_is_mended(tmp_path):
    log = SmallLog(tmp_path / "log").with_tags().with_truth()
    tags = log.tables["tags.csv"]
    x, y, heading = tags["x"].copy(), tags["y"].copy(), tags["h"].copy()
    # the frame's axes: x along the field's y, y against its x; then its y negated, and its headings with it
    tags["x"], tags["y"], tags["h"] = y, x, -(heading - 180.0)
    log.parts["tags"] += 'frame = { rotate = "90 deg", heading_zero = "+y" }\n'
    folder = log.write()
    assert [one.code for one in set_up_faults(folder)] == [SetupFault.FRAME_MIRRORED]
    assert mended(folder) == []


def test_tag_headings_of_a_camera_that_wrap_in_the_wrong_unit_are_mended(tmp_path):
    session = healthy_session(tmp_path, 101, CameraReport.TAG_POSE)
    without_truth(session)
    text = (session / "session.toml").read_text()
    (session / "session.toml").write_text(text.replace('"facing_deg", unit = "deg"', '"facing_deg", unit = "rad"'))
    assert [one.code for one in set_up_faults(session)] == [SetupFault.ANGLE_UNIT]
    assert mended(session) == []


def test_fixes_that_only_scatter_are_not_called_unexplained(tmp_path):
    random = np.random.default_rng(4)
    log = SmallLog(tmp_path / "log").with_tags(every=4).with_truth()
    tags = log.tables["tags.csv"]
    tags["x"] += random.normal(0.0, 0.25, len(tags))
    tags["y"] += random.normal(0.0, 0.25, len(tags))
    tags["h"] += random.normal(0.0, 8.0, len(tags))
    assert set_up_faults(log.write()) == []


def test_changes_of_the_same_pods_are_written_one_after_the_other():
    def change(fault, *names):
        return Change(fault, Part.WHEELS, None, names=names)

    exchanged = change(SetupFault.PODS_EXCHANGED, "left", "right")
    assert builds_on(change(SetupFault.PODS_EXCHANGED, "right", "cross"), exchanged)
    assert builds_on(change(SetupFault.POD_REVERSED, "right"), exchanged)
    assert not builds_on(change(SetupFault.POD_REVERSED, "cross"), exchanged)
    assert not builds_on(change(SetupFault.POD_REVERSED, "cross"), change(SetupFault.POD_SCALE, "cross"))
