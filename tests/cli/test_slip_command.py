"""`locbench slip` on the command line."""

import json
from pathlib import Path

import pytest

from locbench.cli import main as cli
from locbench.results import SlipRecord, read_slip

ROOT = Path(__file__).parents[2]
SHOVED = ROOT / "logs_demo" / "orchard_shoved"


def _run(*arguments):
    return cli.run(lambda: cli.app([str(a) for a in arguments], standalone_mode=True))


def test_the_answer_comes_first_and_the_folder_is_written(tmp_path, capsys):
    out = tmp_path / "out"
    assert _run("slip", SHOVED, "--out", out) == 0
    screen = capsys.readouterr().out
    assert "events in Orchard, shoved" in screen.splitlines()[0]
    assert "slip_timeline_1.svg" in screen.splitlines()[-1]
    assert read_slip(out / "slip.json").events


def test_json_and_nothing_else(capsys):
    assert _run("slip", SHOVED, "--json", "--false-alarms-per-minute", "1") == 0
    record = SlipRecord.model_validate(json.loads(capsys.readouterr().out))
    assert record.false_alarms_per_minute == 1.0


@pytest.mark.parametrize("rate", ["0", "-1", "nan", "11", "1e-9", "1e-300"])
def test_an_impossible_rate_is_refused(rate, capsys):
    assert _run("slip", SHOVED, "--false-alarms-per-minute", rate) == 2
    error = capsys.readouterr().err
    assert "--false-alarms-per-minute" in error
    assert len(error.splitlines()) == 1


@pytest.mark.parametrize("rate", ["1e-6", "10"])
def test_the_rarest_and_the_most_frequent_alarms_are_answered(rate, capsys):
    assert _run("slip", SHOVED, "--json", "--false-alarms-per-minute", rate) == 0
    assert json.loads(capsys.readouterr().out)["events"]


def test_a_missing_session_is_one_line(tmp_path, capsys):
    assert _run("slip", tmp_path / "none") == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_folder_with_a_session_is_no_place_for_results(capsys):
    assert _run("slip", SHOVED, "--out", SHOVED) == 2
    assert "holds a session" in capsys.readouterr().err
