import json
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from logs import SmallLog

from locbench.cli import main as cli
from locbench.config import RobotConfig
from locbench.jobs.inspect import inspect
from locbench.results import inspection_json, read_inspection

ROOT = Path(__file__).parents[2]
HEALTHY = ROOT / "logs_demo" / "orchard_healthy"


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


def _stuck_gyro(folder):
    """A log whose gyro sticks from 0.5 s on: an error that a change of the robot file mends."""
    log = SmallLog(folder).with_tags()
    log.tables["odometry.csv"].loc[25:, "gyro"] = log.tables["odometry.csv"].loc[25, "gyro"]
    return log.write()


def _unusable(folder):
    log = SmallLog(folder).with_tags().with_truth()
    log.tables["tags.csv"] = log.tables["tags.csv"].drop(columns="x")
    log.tables["truth.csv"].loc[3, "y"] = np.nan
    return log.write()


def test_a_healthy_log_is_status_zero_and_the_answer_comes_first(capsys):
    assert _run("inspect", HEALTHY) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith('Nothing wrong found in "Orchard, healthy"')
    assert any("100.0" in line and "odometry.csv" in line and "8838" in line for line in lines)
    assert lines[-1].strip().startswith("- locbench evaluate")


def test_an_error_found_is_status_one_and_says_what_to_write(tmp_path, capsys):
    folder = _stuck_gyro(tmp_path / "log")
    assert _run("inspect", folder) == 1
    shown = capsys.readouterr().out
    assert shown.startswith('1 error in "small log"; the worst: counter stuck: The gyro keeps one reading')
    assert "ERROR counter stuck" in shown
    assert 'Numbers to copy into the robot\n\n# robot.toml\nheading_from = "pods"\n' in shown


def test_a_session_that_cannot_be_used_is_status_two_with_every_reason(tmp_path, capsys):
    folder = _unusable(tmp_path / "log")
    assert _run("inspect", folder) == 2
    shown = capsys.readouterr()
    assert shown.err == ""
    assert shown.out.startswith('"small log" cannot be used: 2 errors.')
    assert 'tags.csv, column "x"' in shown.out
    assert 'truth.csv, row 4, column "y"' in shown.out


def test_json_is_all_that_is_printed_and_reads_back(tmp_path, capsys):
    for folder, status in ((HEALTHY, 0), (_stuck_gyro(tmp_path / "a"), 1), (_unusable(tmp_path / "b"), 2)):
        assert _run("inspect", folder, "--json") == status
        text = capsys.readouterr().out
        assert text == inspection_json(inspect(folder).inspection)
        (tmp_path / "inspect.json").write_text(text)
        assert read_inspection(tmp_path / "inspect.json") == inspect(folder).inspection
        data = json.loads(text)
        assert (data["schema"], data["command"]) == (1, "inspect")
        assert str(tmp_path) not in text
    assert data["evidence"] is None
    assert data["tag_view"] is None
    assert {found["code"] for found in data["diagnoses"]} == {"missing_column", "not_a_number"}


def test_copies_with_the_changes_are_written_beside_the_json(tmp_path, capsys):
    folder, out = _stuck_gyro(tmp_path / "log"), tmp_path / "out"
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert _run("inspect", folder, "--out", out) == 1
    assert sorted(path.name for path in out.iterdir()) == ["inspect.json", "robot_corrected.toml"]
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert "in place of the one it corrects" in capsys.readouterr().out
    corrected = (out / "robot_corrected.toml").read_text()
    assert RobotConfig.model_validate(tomllib.loads(corrected)).heading_from == "pods"
    # in place of the old one it mends the fault for good
    (folder / "robot.toml").write_text(corrected)
    assert _run("inspect", folder, "--out", out) == 1
    (change,) = [change for found in inspect(folder).inspection.diagnoses for change in found.changes] or [None]
    assert change is None
    # and the copy of the earlier run does not pass for one of this run
    assert sorted(path.name for path in out.iterdir()) == ["inspect.json"]


def test_somebodys_own_files_are_never_replaced(tmp_path, capsys):
    folder = _stuck_gyro(tmp_path / "log")
    assert _run("inspect", folder, "--out", folder) == 2
    assert "holds a session" in capsys.readouterr().err
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "robot_corrected.toml").write_text("my own")
    assert _run("inspect", folder, "--out", tmp_path / "mine") == 2
    assert "robot_corrected.toml" in capsys.readouterr().err
    assert (tmp_path / "mine" / "robot_corrected.toml").read_text() == "my own"


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("nowhere", ["no session there"]),
        (HEALTHY / "odometry.csv", ["no session file", "locbench adopt"]),
        (ROOT / "configs" / "scenario_healthy.toml", ["a scenario file", "locbench simulate"]),
    ],
)
def test_what_is_no_session_is_one_line_and_status_two(place, words, capsys):
    assert _run("inspect", place) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert len(shown.err.strip().splitlines()) == 1
    for word in words:
        assert word in shown.err


def test_a_broken_fusion_file_of_the_session_is_bad_input(tmp_path, capsys):
    folder = SmallLog(tmp_path).with_tags().write()
    text = (folder / "session.toml").read_text()
    (folder / "session.toml").write_text(text.replace("[start]", 'fusion = ["fusion.toml"]\n[start]'))
    (folder / "fusion.toml").write_text("name = 3")
    assert _run("inspect", folder) == 2
    assert "fusion.toml: name" in capsys.readouterr().err


def test_names_from_the_files_are_shown_as_they_are_and_steer_nothing(tmp_path, capsys):
    folder = SmallLog(tmp_path).with_tags().write()
    text = (folder / "session.toml").read_text()
    (folder / "session.toml").write_text(text.replace('"small log"', '"[red]run[/red]\\u001b[2J"'))
    assert _run("inspect", folder) == 0
    shown = capsys.readouterr().out
    assert "[red]run[/red]" in shown
    assert "\x1b" not in shown


def test_nothing_slow_is_loaded():
    script = (
        "import sys; from locbench.cli import main as cli\n"
        f"cli.run(lambda: cli.app(['inspect', {str(HEALTHY)!r}], standalone_mode=True))\n"
        "print([m for m in sys.modules if '.' not in m])"
    )
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    for heavy in ("numba", "matplotlib", "filterpy", "jinja2"):
        assert f"'{heavy}'" not in loaded.splitlines()[-1]
