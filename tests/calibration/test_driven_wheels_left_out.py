"""Constants are told by pods and gyro: what driven wheels count does nothing to them."""

import numpy as np
from logs import ROBOT, SmallLog

from locbench.calibration.reading import gathered
from locbench.jobs.calibrate import logged_session
from locbench.session import examine_session

WHEEL = '[drive_wheels.front]\nx = "100 mm"\ny = "0 mm"\nwheel_diameter = "70 mm"\ncounts_per_revolution = 4096\n'


def _gathered(log: SmallLog):
    return gathered([logged_session(examine_session(log.write()))])


def test_a_set_of_drives_is_the_same_with_spinning_wheels_and_without_any(tmp_path):
    log = SmallLog(tmp_path).with_tags().with_marks().with_truth()
    (tmp_path / "robot.toml").write_text(ROBOT + WHEEL)
    plain = _gathered(log)
    log.tables["odometry.csv"]["d"] = np.arange(len(log.time)) * 83
    log.parts["odometry"] += 'drive_wheels = { front = "d" }\n'
    wheeled = _gathered(log)
    assert wheeled.constants == plain.constants
    of_wheels = {constant.of for constant in wheeled.constants.every if constant.of.startswith("pods.")}
    assert of_wheels == {"pods.left", "pods.right", "pods.cross"}
    (one,), (other,) = wheeled.drives, plain.drives
    assert one.wheels.wheels == other.wheels.wheels
    np.testing.assert_array_equal(one.wheels.travel_m, other.wheels.travel_m)
    np.testing.assert_array_equal(one.wheels.doubted, other.wheels.doubted)
