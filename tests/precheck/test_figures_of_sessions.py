"""Figures are those of the things themselves: what somebody writes into the files does not move them."""

import shutil
from pathlib import Path

import pytest
from changed_sessions import without_tables

from locbench.jobs.precheck import baseline_of_session, precheck
from locbench.results import Precheck

ROOT = Path(__file__).parents[2]
SPIN_LINE = ROOT / "logs_demo" / "orchard_spin_line"
DATE = "2026-11-26T10:00"


def _copied(folder: Path, offset: str, yaw: str) -> Path:
    """Return the demo with stamps moved by the session file, and another camera's yaw in the robot file."""
    shutil.copytree(ROOT / "configs", folder / "configs")
    session = folder / "logs_demo" / "orchard_spin_line"
    shutil.copytree(SPIN_LINE, session)
    robot, config = folder / "configs" / "robot_three_pods.toml", session / "session.toml"
    robot.write_text(robot.read_text().replace('yaw = "0 deg"', f'yaw = "{yaw}"'))
    config.write_text(config.read_text().replace("[tags]\n", f'[tags]\noffset = "{offset}"\n'))
    return without_tables(session, "truth")


@pytest.fixture(scope="module")
def check(tmp_path_factory) -> Precheck:
    """The same log twice, its files corrected in between."""
    before, after = tmp_path_factory.mktemp("before"), tmp_path_factory.mktemp("after")
    (before / "good.toml").write_text(baseline_of_session(_copied(before, "0 ms", "0 deg"), DATE).text)
    session = _copied(after, "12 ms", "3 deg")
    return precheck(session, before / "good.toml", after / "history.csv", DATE).precheck


@pytest.mark.parametrize("name", ["latency", "x", "y", "yaw"])
def test_corrected_files_change_neither_latency_nor_the_mount_of_logged_poses(name, check):
    line = next(one for one in check.lines if one.name == f"cameras.front.{name}")
    assert line.change == pytest.approx(0.0, abs=0.3 * line.change_std)
    assert line.verdict != "fail"
