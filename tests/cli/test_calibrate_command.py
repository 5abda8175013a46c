"""`locbench calibrate` on the command line."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import pytest
from changed_sessions import copied, without_tables
from logs import SmallLog
from rich.console import Console

from locbench.calibration.determining import calibrated
from locbench.calibration.reading import gathered
from locbench.cli import main as cli
from locbench.config.edits import EditedFile
from locbench.jobs.calibrate import calibrate, logged_session
from locbench.jobs.sessions import examined_session
from locbench.report.calibration import print_calibration
from locbench.results import read_calibration

ROOT = Path(__file__).parents[2]
SPIN_LINE = ROOT / "logs_demo" / "orchard_spin_line"


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo's robot and field beside a copy of its session, so that the calibrated files can be put in place."""
    folder = tmp_path_factory.mktemp("calibrate")
    shutil.copytree(SPIN_LINE, folder / "session")
    for name in ("robot_three_pods.toml", "field_orchard.toml"):
        shutil.copy(ROOT / "configs" / name, folder / "session" / name)
    path = folder / "session" / "session.toml"
    text = re.sub(r'"[^"]*/(robot_three_pods|field_orchard)\.toml"', r'"\1.toml"', path.read_text())
    text = re.sub(r"^(fusion|shooter) = .*\n", "", text, flags=re.M)
    path.write_text(text)
    return folder / "session"


@pytest.fixture(scope="module")
def out(demo):
    folder = demo.parent / "out"
    assert _run("calibrate", demo, "--out", folder) == 0
    return folder


def test_the_constants_are_what_was_simulated(out):
    record = read_calibration(out / "calibration.json")
    assert record.rms_after_m < 0.5 * record.rms_before_m
    # scenario_spin_line.toml
    for name, truth in (
        ("pods.left.wheel_diameter", 0.0497),
        ("pods.right.wheel_diameter", 0.0503),
        ("pods.cross.lever_arm", -0.106),
        ("gyro.scale", 1.0 / 1.005),
        ("gyro.lag", 0.004),
    ):
        one = record.parameters[name]
        assert abs(one.estimate - truth) < 3.0 * one.std, name


def test_the_calibrated_robot_needs_no_further_calibration(demo, out, tmp_path):
    again = tmp_path / "again"
    shutil.copytree(demo, again)
    shutil.copy(out / "robot_calibrated.toml", again / "robot_three_pods.toml")
    shutil.copy(out / "session_calibrated.toml", again / "session.toml")
    fitted = gathered([logged_session(examined_session(again))])
    for one in calibrated(fitted).estimates:
        # clocks are left alone unless they are surely off, and logged robot poses were made with the old mount
        if one.determined and one.constant.of.startswith(("pods", "gyro")):
            assert abs(one.shift) < 0.5 * one.std, one.constant.name
    gyro = tomllib.loads((again / "robot_three_pods.toml").read_text())["gyro"]
    assert gyro["scale"] == pytest.approx(0.995, abs=1e-3)


def test_the_screen_has_the_answer_first_then_the_lines_to_copy(out, capsys):
    calibration = read_calibration(out / "calibration.json")
    shown = _shown(calibration, capsys)
    assert re.match(r"12 of 15 constants determined, \d+ of them not what the files say", shown)
    assert "Not determined" in shown
    assert "locbench runsheet --field FIELD.toml --robot ROBOT.toml --kind straight" in shown
    # these robot poses were computed by a program that had a mount of its own
    assert "do not add the shift again" in shown
    assert 'rolling_direction = "90.9' in (out / "robot_calibrated.toml").read_text()


def _shown(calibration, capsys):
    print_calibration(calibration, (), ["session"], None, Console(width=100, highlight=False))
    return " ".join(capsys.readouterr().out.split())


def test_constants_that_bring_what_was_left_out_no_nearer_are_not_to_be_copied(out, capsys):
    calibration = read_calibration(out / "calibration.json")
    worse = calibration.held_out.model_copy(update={"before_m": 0.054, "after_m": 0.071})
    contradicting = calibration.model_copy(update={"held_out": worse, "uncertainty_factor": 1.8})
    assert _shown(contradicting, capsys).startswith("Parts of this drive contradict each other: 12 of 15")
    assert "54 mm RMS before, 71 mm after, no nearer, so leave the odometry as it is." in _shown(contradicting, capsys)
    unlucky = contradicting.model_copy(update={"uncertainty_factor": 1.0})
    assert _shown(unlucky, capsys).startswith("12 of 15 constants determined")


def _with_marks_only(session, folder):
    """Return a copy without truth and tags, which takes a fifth of the time."""
    return without_tables(copied(session, folder), "truth", "tags")


def test_drives_of_a_sound_and_a_worn_wheel_leave_the_odometry_alone(tmp_path):
    """Both demos are of one robot file, but its left wheel wore down between them."""
    names = ("orchard_healthy", "orchard_worn")
    found = calibrate([_with_marks_only(ROOT / "logs_demo" / name, tmp_path / name) for name in names])
    assert not found.calibration.held_out.is_nearer
    assert found.changed_files == ()


def test_a_clock_that_several_sessions_share_is_named_for_each_of_them(demo, tmp_path):
    found = calibrate([_with_marks_only(demo, tmp_path / name) for name in ("first", "second")])
    assert {file.file for file in found.changed_files} <= {EditedFile.ROBOT}
    (remark,) = [one for one in found.calibration.remarks if "each session file" in one]
    assert re.search(r'\[odometry\] heading_lag = "4\.\d+ ms"', remark)


@pytest.mark.parametrize(
    ("heading", "key", "line"),
    [("[odometry]", "odometry.heading_lag", 'heading_lag = "3 ms"'), ("[tags]", "tags.offset", 'offset = "-20 ms"')],
)
def test_sessions_that_disagree_on_a_lag_are_refused(heading, key, line, demo, tmp_path, capsys):
    other = tmp_path / "other"
    shutil.copytree(demo, other)
    path = other / "session.toml"
    path.write_text(path.read_text().replace(heading, f"{heading}\n{line}"))
    assert _run("calibrate", demo, other) == 2
    error = capsys.readouterr().err
    assert f"{path}: {key}: the sessions have different values here" in error
    assert "has 0 ms" in error


def test_a_session_named_twice_is_refused(demo, capsys):
    assert _run("calibrate", demo, demo / "session.toml") == 2
    assert "this session is named twice" in capsys.readouterr().err


def test_several_sessions_of_one_robot_are_fitted_together(demo, out, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(demo, other)
    alone = read_calibration(out / "calibration.json").parameters["pods.left.wheel_diameter"]
    logged = [logged_session(examined_session(folder)) for folder in (demo, other)]
    both = {one.constant.name: one for one in calibrated(gathered(logged)).estimates}
    wheel = both["pods.left.wheel_diameter"]
    assert wheel.constant.absolute(wheel.std) < alone.std


def test_sessions_of_different_robots_are_refused(demo, tmp_path, capsys):
    other = tmp_path / "other"
    shutil.copytree(demo, other)
    robot = other / "robot_three_pods.toml"
    robot.write_text(robot.read_text().replace('y = "120 mm"', 'y = "110 mm"'))
    assert _run("calibrate", demo, other) == 2
    assert "the sessions are of different robots" in capsys.readouterr().err


def test_a_log_with_nothing_to_compare_with_is_refused(tmp_path, capsys):
    folder = SmallLog(tmp_path / "log").write()
    assert _run("calibrate", folder, "--out", tmp_path / "out") == 2
    error = capsys.readouterr().err
    assert "neither marks nor truth nor tags" in error
    assert "locbench runsheet" in error
    assert not (tmp_path / "out").exists()


def test_without_marks_or_truth_no_error_is_claimed(tmp_path, capsys):
    folder = SmallLog(tmp_path / "log").with_tags().write()
    assert _run("calibrate", folder, "--json") == 0
    record = json.loads(capsys.readouterr().out)
    assert record["rms_before_m"] is None
    assert "no marks and no truth" in record["why"]["rms_before_m"]
    assert record["undetermined"]
