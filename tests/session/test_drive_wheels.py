"""Driven wheels with encoders: in the robot file, the log, the simulation, and what they add to `slip`."""

import re

import numpy as np
import pandas as pd
import pytest
from changed_sessions import ROOT
from logs import ROBOT, SmallLog

from locbench.config import RobotConfig, load_config
from locbench.errors import ConfigError, SessionError
from locbench.jobs.simulate import simulate
from locbench.jobs.slip import slip
from locbench.session import read_session

WHEEL = """[drive_wheels.side]
x = "120 mm"
y = "0 mm"
rolling_direction = "90 deg"
wheel_diameter = "35 mm"
counts_per_revolution = 8192
along_per_metre = "5 mm"
"""


def _log(folder, robot=ROBOT + WHEEL, entry='drive_wheels = { side = "d" }'):
    small = SmallLog(folder)
    table = small.tables["odometry.csv"]
    table["d"] = table["c"]
    if entry:
        small.parts["odometry"] = small.parts["odometry"].replace("pods =", f"{entry}\npods =", 1)
    path = small.write()
    (folder / "robot.toml").write_text(robot)
    return path


def test_their_counters_are_read_as_pods_are(tmp_path):
    log = read_session(_log(tmp_path)).odometry
    assert log.drive_travel_m["side"] == pytest.approx(log.travel_m["cross"])
    assert not np.any(log.flagged)


def test_a_log_may_have_none_of_them(tmp_path):
    assert read_session(_log(tmp_path, entry="")).odometry.drive_travel_m == {}


@pytest.mark.parametrize(
    ("robot", "entry", "words"),
    [
        (ROBOT, 'drive_wheels = { side = "d" }', 'no driven wheel "side"'),
        (ROBOT + WHEEL, 'drive_wheels = { sied = "d" }', 'no driven wheel "sied"'),
        (
            ROBOT + WHEEL + WHEEL.replace("side", "other"),
            'drive_wheels = { side = "d" }',
            'driven wheel "other" has no column',
        ),
        (ROBOT + WHEEL, 'drive_wheels = { side = "nowhere" }', "nowhere"),
    ],
)
def test_names_that_do_not_go_together_are_refused(tmp_path, robot, entry, words):
    with pytest.raises(SessionError, match=re.escape(words)):
        read_session(_log(tmp_path, robot, entry))


def test_a_name_is_a_pods_or_a_wheels(tmp_path):
    path = tmp_path / "robot.toml"
    path.write_text(ROBOT + WHEEL.replace("side", "left"))
    with pytest.raises(ConfigError, match="pod and a driven wheel"):
        load_config(path, RobotConfig)


def test_a_jump_of_their_counters_alone_leaves_the_pose_undoubted(tmp_path):
    path = _log(tmp_path)
    table = pd.read_csv(tmp_path / "odometry.csv")
    table.loc[100:, "d"] += 900_000
    table.to_csv(tmp_path / "odometry.csv", index=False)
    log = read_session(path).odometry
    assert not np.any(log.flagged)


@pytest.fixture(scope="module")
def driven(tmp_path_factory):
    """The healthy run of a robot with a wheel driven sideways, in which the cross pod slips."""
    folder = tmp_path_factory.mktemp("driven")
    configs = ROOT / "configs"
    robot = (configs / "robot_three_pods.toml").read_text() + WHEEL.replace("35 mm", "50 mm").replace("8192", "4096")
    (folder / "robot.toml").write_text(robot)
    text = (configs / "scenario_healthy.toml").read_text()
    for name in ("field_orchard", "fusion_gated_kalman", "fusion_always_reset", "shooter_orchard"):
        text = text.replace(f'"{name}.toml"', f'"{configs / name}.toml"')
    text = text.replace('"robot_three_pods.toml"', '"robot.toml"')
    slips = '[[slips]]\npod = "cross"\nstart = "9.8 s"\nduration = "0.5 s"\nlost = "60 %"\n'
    text = text.replace("[[waypoints]]", slips + '[drive_wheels]\nalong_per_metre = "4 mm"\n[[waypoints]]', 1)
    (folder / "scenario.toml").write_text(text)
    simulate(folder / "scenario.toml", folder / "log")
    return folder / "log"


def test_a_simulated_log_has_their_counts_and_the_same_pods(driven):
    table = pd.read_csv(driven / "odometry.csv")
    plain = pd.read_csv(ROOT / "logs_demo" / "orchard_healthy" / "odometry.csv")
    assert "drive_side" in table
    assert table["enc_left"].tolist() == plain["enc_left"].tolist()
    # both roll sideways, one in front of the other
    assert table["drive_side"].diff(20).corr(table["enc_cross"].diff(20)) > 0.3


def test_they_show_a_slip_that_nothing_else_contradicts(driven):
    record = slip([driven])
    assert "cross" in record.detectable
    assert record.redundancy.count == 2
    events = [event for event in record.events if event.start_s < 10.4 and event.end_s > 9.7]
    assert any("cross" in event.candidates for event in events)
