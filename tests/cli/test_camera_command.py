"""`locbench camera` on the command line."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from changed_sessions import without_tables
from logs import SmallLog

from locbench.cli import main as cli
from locbench.config import FusionConfig, load_config
from locbench.report.camera import noise_lines
from locbench.results import Estimated, read_camera

ROOT = Path(__file__).parents[2]
HEALTHY = ROOT / "logs_demo" / "orchard_healthy"
SPIN_LINE = ROOT / "logs_demo" / "orchard_spin_line"


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("camera") / "out"
    assert _run("camera", HEALTHY, "--out", folder) == 0
    return folder


def test_the_noise_is_what_was_simulated(out):
    record = read_camera(out / "camera.json")
    # scenario_healthy.toml, [camera.noise]
    for key, truth in (
        ("along_floor", 0.009),
        ("along_at_one_metre", 0.008),
        ("across_floor", 0.009),
        ("across_at_one_metre", 0.009),
        ("view_angle_growth", 0.8),
    ):
        one = record.noise[key]
        assert abs(one.value - truth) < 3.0 * one.std, key
    assert not any(tag.hangs_wrong for tag in record.tags.values())
    assert sum(one.count for one in record.bins if one.by == "tag") == record.compared


def test_the_tag_noise_can_be_copied_into_a_fusion_file(out, tmp_path):
    text = (out / "tag_noise.toml").read_text()
    path = tmp_path / "fusion.toml"
    path.write_text('name = "from the camera"\n' + text)
    noise = load_config(path, FusionConfig).tag_noise
    assert noise.along_at_one_metre == pytest.approx(0.008, abs=0.0005)
    assert set(tomllib.loads(text)) == {"tag_noise"}


def test_tables_and_the_trust_map_are_written(out):
    assert {"camera.json", "camera_bins.csv", "trust_map.csv", "trust_map.svg", "tag_noise.toml"} == {
        path.name for path in out.iterdir()
    }
    picture = (out / "trust_map.svg").read_text()
    assert picture.startswith("<?xml")
    rows = (out / "trust_map.csv").read_text().splitlines()
    assert rows[0] == "range_from_m,range_to_m,view_from_rad,view_to_rad,count,wrong,along_rms,across_rms,heading_rms"
    assert len(rows) == 1 + len(read_camera(out / "camera.json").trust_map)


def test_the_answer_comes_first(capsys):
    assert _run("camera", HEALTHY) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("robot pose detections at 1 m: ")
    assert any("along_at_one_metre = " in line for line in lines)


@pytest.fixture
def spin_line(tmp_path):
    """A copy of the demo log and of the files it names, to be changed."""
    shutil.copytree(ROOT / "configs", tmp_path / "configs")
    return Path(shutil.copytree(SPIN_LINE, tmp_path / "logs_demo" / "orchard_spin_line"))


def _changed(path, pattern, text):
    before = path.read_text()
    after = re.sub(pattern, text, before)
    assert after != before
    path.write_text(after)


def test_six_legs_that_err_alike_are_not_taken_for_a_turned_camera(spin_line, capsys):
    """Without the truth the gyro's scale error turns them all the same way, by far more than is stated of odometry."""
    without_tables(spin_line, "truth")
    assert _run("camera", spin_line, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    yaw = found["mount"]["yaw"]
    assert abs(yaw["value"]) > 3.0 * yaw["std"]
    assert found["reference"] == "marks"
    assert found["beyond_chance"] == []


def test_errors_that_stay_through_a_pass_are_said_to_be_worth_few_fixes(spin_line, capsys):
    """Half a metre a second is driven there: each time a tag comes into view, x is off by something else."""
    path = spin_line / "tags.csv"
    table = pd.read_csv(path)
    rng = np.random.default_rng(4)
    for _, rows in table.groupby("id"):
        number = (rows["t_shutter_ms"].diff() > 1000.0).cumsum()
        table.loc[rows.index, "px_in"] += rng.normal(0.0, 2.0, int(number.max()) + 1)[number]
    table.to_csv(path, index=False)
    assert _run("camera", spin_line, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["slow"]["along"]["ci95"][0] > 0.2
    assert found["slow"]["heading"]["ci95"][0] < 0.05
    assert found["slow"]["heading"]["worth_at_most"] is None or found["slow"]["heading"]["worth_at_most"] > 20.0
    assert found["slow"]["along"]["worth_at_most"] == pytest.approx(1.0 / found["slow"]["along"]["ci95"][0])
    assert _run("camera", spin_line) == 0
    assert "Errors along the line of sight hardly change while a tag stays in view" in " ".join(
        capsys.readouterr().out.split()
    )


def test_poses_of_a_robot_without_cameras_are_not_blamed_on_one(spin_line, capsys):
    _changed(spin_line.parents[1] / "configs" / "robot_three_pods.toml", r"\[cameras\.\w+\]\n(?:[^\[].*\n|\n)*", "")
    assert _run("camera", spin_line) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "pose offset on the robot in yaw" in text
    assert "camera sits" not in text


def test_a_session_without_marks_or_truth_is_refused(tmp_path, capsys):
    folder = SmallLog(tmp_path / "log").with_tags().write()
    assert _run("camera", folder, "--out", tmp_path / "out") == 2
    error = capsys.readouterr().err
    assert "neither marks nor truth" in error
    assert "locbench runsheet --kind camera" in error
    assert not (tmp_path / "out").exists()


def _copied(session, name):
    """Return a second drive that went exactly like the first."""
    return Path(shutil.copytree(session, session.with_name(name)))


def test_two_sessions_are_surer_than_one(out, spin_line, capsys):
    shutil.copytree(HEALTHY, spin_line.with_name("first"))
    shutil.copytree(HEALTHY, spin_line.with_name("second"))
    one = json.loads((out / "camera.json").read_text())
    assert _run("camera", spin_line.with_name("first"), spin_line.with_name("second"), "--json") == 0
    both = json.loads(capsys.readouterr().out)
    assert both["compared"] == 2 * one["compared"]
    key = "along_at_one_metre"
    assert both["noise"][key]["value"] == pytest.approx(one["noise"][key]["value"], rel=0.01)
    assert both["noise"][key]["std"] < one["noise"][key]["std"]


def test_a_session_named_twice_is_refused(capsys):
    assert _run("camera", HEALTHY, HEALTHY) == 2
    assert "this session is named twice" in capsys.readouterr().err


def test_sessions_whose_files_move_the_stamps_differently_are_refused(spin_line, capsys):
    other = _copied(spin_line, "other")
    _changed(other / "session.toml", r"\[tags\]\n", '[tags]\noffset = "20 ms"\n')
    assert _run("camera", spin_line, other) == 2
    error = capsys.readouterr().err
    assert f"{other / 'session.toml'}: tags.offset: the sessions have different values here" in error


def test_late_stamps_of_several_sessions_are_to_be_mended_in_each(spin_line, capsys):
    _changed(spin_line / "session.toml", r"\[tags\]\n", '[tags]\noffset = "30 ms"\n')
    assert _run("camera", spin_line, _copied(spin_line, "other"), "--json") == 0
    (remark,) = json.loads(capsys.readouterr().out)["remarks"]
    offset = re.fullmatch(r'to be written into each session file: \[tags\] offset = "(\S+) ms"', remark)
    # of the 30 ms nothing was true
    assert abs(float(offset[1])) < 4.0


def test_robot_poses_without_headings_tell_nothing_of_headings(spin_line, capsys):
    _changed(spin_line / "session.toml", r"(\[tags\][^\[]*)\nheading = .*", r"\1")
    assert _run("camera", spin_line, "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert set(found["noise"]) - {"view_angle_growth"} == {
        "along_floor",
        "along_at_one_metre",
        "across_floor",
        "across_at_one_metre",
    }
    assert {"heading_floor", "heading_at_one_metre"} <= set(found["kept_noise"])
    assert found["flip_share"] is None
    assert "hardly any of the detections has a heading" in found["why"]["flip_share"]
    assert set(found["slow"]) <= {"along", "across"}
    assert _run("camera", spin_line) == 0
    assert "heading_floor = " in capsys.readouterr().out


def test_a_tag_seen_on_two_legs_is_no_proof(spin_line, capsys):
    """Between marks the reference may err alike all along a leg."""
    without_tables(spin_line, "truth")
    assert _run("camera", spin_line, "--json") == 0
    tags = json.loads(capsys.readouterr().out)["tags"]
    few = [tag for tag, one in tags.items() if one["legs"] < 3 and one["x"] is not None]
    assert few
    assert not any(tags[tag]["is_provable"] or tags[tag]["hangs_wrong"] for tag in few)
    assert _run("camera", spin_line) == 0
    assert "only: no proof" in capsys.readouterr().out


def test_noise_to_copy_is_never_nothing(out):
    record = read_camera(out / "camera.json")
    tiny = Estimated(value=2.3e-6, std=None, unit="m")
    noisy = Estimated(value=4e-5, std=2e-3, unit="m")
    changed = record.model_copy(update={"noise": {"along_floor": tiny, "across_floor": noisy}})
    noise = tomllib.loads(noise_lines(changed))["tag_noise"]
    assert noise["along_floor"] == "0.0023 mm"
    assert noise["across_floor"] == "0.04 mm"
    # what was not told stays as the fusion file has it
    assert noise["correlation_between_tags"] == "100 %"
