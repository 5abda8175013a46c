import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from logs import SmallLog

from locbench.cli import main as cli
from locbench.cli.options import DisplayUnits
from locbench.jobs.evaluate import evaluate
from locbench.results import results_json
from locbench.units import UnitSystem

WRITTEN = [
    "aim.csv",
    "at_marks.csv",
    "comparisons.csv",
    "corrections.csv",
    "drift.csv",
    "landings.csv",
    "reference.csv",
    "report.html",
    "results.json",
    "shots.csv",
    "summary.csv",
    "tracks.json",
]


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


@pytest.fixture
def folder(tmp_path):
    return SmallLog(tmp_path / "log").with_tags().with_marks().with_truth().write()


def test_the_command_writes_what_the_library_returns(folder, tmp_path, capsys):
    out = tmp_path / "out"
    assert _run("evaluate", folder, "--out", out) == 0
    assert sorted(path.name for path in out.iterdir()) == WRITTEN
    assert (out / "results.json").read_text() == results_json(evaluate([folder]).results)
    shown = capsys.readouterr()
    assert shown.out.startswith("Evidence A (dense truth): dead reckoning is ")
    assert "Where to look next" in shown.out
    assert "Written to" in shown.out


def test_imperial_units_change_what_is_shown_not_what_is_stored(folder, tmp_path, capsys):
    assert _run("evaluate", folder, "--out", tmp_path / "m") == 0
    metric = capsys.readouterr().out
    assert _run("evaluate", folder, "--out", tmp_path / "i", "--units", "imperial") == 0
    imperial = capsys.readouterr().out
    assert " ft" in imperial
    assert " ft" not in metric
    assert (tmp_path / "m" / "results.json").read_bytes() == (tmp_path / "i" / "results.json").read_bytes()
    assert [choice.value for choice in DisplayUnits] == [choice.value for choice in UnitSystem]


@pytest.mark.usefixtures("without_pictures")
@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda f: (f / "odometry.csv").unlink(), ["odometry.csv", "no such file"]),
        (lambda f: (f / "robot.toml").write_text("name = "), ["robot.toml", "TOML syntax error", "line 1"]),
        (lambda f: (f / "truth.csv").write_text("t_ms,x,y,h\n0,1,2,three\n"), ["truth.csv", "row 1", '"h"', "three"]),
        (
            lambda f: (f / "robot.toml").write_text((f / "robot.toml").read_text().replace('"90 deg"', '"0 deg"')),
            ["robot.toml", "cannot see sideways motion"],
        ),
    ],
)
def test_bad_input_is_one_line_status_two_and_nothing_written(folder, tmp_path, capsys, spoil, words):
    out = tmp_path / "out"
    assert _run("evaluate", folder, "--out", out) == 0
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    capsys.readouterr()
    spoil(folder)
    assert _run("evaluate", folder, "--out", out) == 2
    assert _run("evaluate", folder, "--out", tmp_path / "fresh") == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    lines = shown.err.strip().splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("locbench: ")
    for word in words:
        assert word in lines[0]
    assert "Traceback" not in shown.err
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert not (tmp_path / "fresh").exists()


@pytest.mark.parametrize(
    "arguments", [["evaluate"], ["evaluate", "nowhere"], ["evaluat"], ["evaluate", "x", "--units", "furlongs"]]
)
def test_wrong_usage_is_status_two(arguments, capsys):
    assert _run(*arguments) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_an_output_folder_that_cannot_be_made(folder, tmp_path, capsys):
    (tmp_path / "taken").write_text("a file")
    assert _run("evaluate", folder, "--out", tmp_path / "taken") == 2
    assert "cannot write there" in capsys.readouterr().err


def test_an_interruption_is_status_130(capsys):
    def interrupted():
        raise KeyboardInterrupt

    assert cli.run(interrupted) == 130
    assert "nothing was written" in capsys.readouterr().err


def test_an_internal_error_is_one_line_and_leaves_a_trace_file(capsys):
    def broken():
        raise RuntimeError("deep inside")

    assert cli.run(broken) == 4
    line = capsys.readouterr().err.strip()
    assert "\n" not in line
    assert "deep inside" in Path(line.rsplit(" ", 1)[1]).read_text()


def test_help_is_quick_because_nothing_heavy_is_imported():
    """The bar is half a second for the whole command; what costs the time is counted instead of timed."""
    script = "import sys, locbench.cli.main; print([m for m in sys.modules if '.' not in m])"
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    for heavy in ("numpy", "scipy", "pandas", "matplotlib", "pydantic", "filterpy", "jinja2"):
        assert f"'{heavy}'" not in loaded


@pytest.mark.usefixtures("without_pictures")
@pytest.mark.parametrize("session", ["orchard_healthy", "orchard_shoved"])
def test_the_demo_sessions_need_no_option(session, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    demo = Path(__file__).parents[2] / "logs_demo" / session
    assert _run("evaluate", demo) == 0
    results = json.loads((tmp_path / "locbench_results" / "results.json").read_text())
    estimators = results["sessions"][0]["estimators"]
    assert set(estimators) == {"dead_reckoning", "tags_only", "gated_kalman", "always_reset"}
    gated = estimators["gated_kalman"]["truth"]["position_rms_m"]["value"]
    assert gated < 0.5 * estimators["dead_reckoning"]["truth"]["position_rms_m"]["value"]
    assert sum(path.stat().st_size for path in demo.iterdir()) < 2_000_000


def test_somebodys_own_tables_are_never_replaced(folder, tmp_path, capsys):
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert _run("evaluate", folder, "--out", folder) == 2
    assert "holds a session" in capsys.readouterr().err
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "drift.csv").write_text("my own")
    assert _run("evaluate", folder, "--out", tmp_path / "mine") == 2
    assert "drift.csv" in capsys.readouterr().err
    assert (tmp_path / "mine" / "drift.csv").read_text() == "my own"
    scenario = Path(__file__).parents[2] / "configs" / "scenario_healthy.toml"
    assert _run("simulate", scenario, "--out", folder) == 2
    assert "was not simulated" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_terminal_that_lacks_letters_still_gets_the_answer(folder, tmp_path):
    path = folder / "session.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("small log", "機器人 log"), encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-m", "locbench", "evaluate", str(folder), "--out", str(tmp_path / "out")],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
        check=False,
    )
    assert run.returncode == 0
    assert run.stdout.startswith(b"Evidence A")


@pytest.mark.parametrize("pods", ["", "[pods]\n"])
def test_pod_counts_without_pods_are_bad_input(tmp_path, capsys, pods):
    folder = SmallLog(tmp_path / "log").write()
    (folder / "robot.toml").write_text(f'name = "r"\nheading_from = "pods"\n{pods}')
    assert _run("evaluate", folder, "--out", tmp_path / "out") == 2
    assert "pod" in capsys.readouterr().err
