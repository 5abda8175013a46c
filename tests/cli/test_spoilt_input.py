"""Whatever happens to a file on the way: an answer, or one line that says which file and what to do."""

import contextlib
import io
import json
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from difflib import unified_diff
from functools import cache
from itertools import islice
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st
from short_inputs import DEMOS, OTHER_LOGS, Input, demo, other_log, scenario
from spoiling import HARMLESS_FAULTS, spoilt_table, spoilt_toml

from locbench.cli import main as cli

LONGEST_SIMULATED_S = 20.0
# on a floor of 4 m by 4 m nobody can be that wrong without a word about the log
FAR_M = 100.0


def _check_results(text: str) -> None:
    results = _finite_json(text)
    (session,) = results["sessions"]
    warned = any(finding["severity"] == "warning" for finding in session["findings"])
    assert warned or max(_errors_m(session), default=0.0) < FAR_M


def _finite_json(text: str) -> Any:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    parsed = json.loads(text, parse_constant=refuse)
    # 1e999 is read as infinity
    assert all(math.isfinite(number) for number in _numbers(parsed))
    return parsed


def _numbers(node: Any) -> list[float]:
    if isinstance(node, dict):
        return [number for child in node.values() for number in _numbers(child)]
    if isinstance(node, list):
        return [number for child in node for number in _numbers(child)]
    return [float(node)] if isinstance(node, int | float) else []


def _errors_m(session: Any) -> Iterator[float]:
    for estimator in session["estimators"].values():
        for against in ("marks", "truth"):
            if estimator[against] is not None and estimator[against]["position_max_m"]["value"] is not None:
                yield estimator[against]["position_max_m"]["value"]


def _check_session(text: str) -> None:
    assert tomllib.loads(text)["odometry"]


@dataclass(frozen=True)
class Command:
    """A subcommand, the statuses of an answer, the file that holds it, what must hold of that, and further options."""

    name: str
    answered: tuple[int, ...]
    result: str
    check: Callable[[str], object]
    options: Callable[[Path], list[str]] = lambda _: []


EVALUATE = Command("evaluate", (0,), "results.json", _check_results)
# of a log that cannot be used it lists why
INSPECT = Command("inspect", (0, 1, 2), "inspect.json", _finite_json)
CALIBRATE = Command("calibrate", (0,), "calibration.json", _finite_json)
CAMERA = Command("camera", (0,), "camera.json", _finite_json)
BASELINE = """name = "a good day"
saved = "2026-11-01T10:00"
[[figures]]
name = "pods.left.wheel_diameter"
kind = "wheel diameter"
unit = "mm"
value = 49.8
std = 0.03
least_change = -0.15
most_change = 0.15
"""


def _against_a_baseline(folder: Path) -> list[str]:
    (folder / "baseline.toml").write_text(BASELINE)
    return ["--baseline", str(folder / "baseline.toml"), "--date", "2026-11-26T10:00"]


PRECHECK = Command("precheck", (0, 1, 3), "precheck.json", _finite_json, _against_a_baseline)
SLIP = Command("slip", (0,), "slip.json", _finite_json)
# every command that reads a session stands here
ON_SESSIONS = (EVALUATE, INSPECT, CALIBRATE, CAMERA, SLIP, PRECHECK)
# the slower ones read what the others read: they are drawn less often
DRAWN = (*4 * (EVALUATE, INSPECT), *ON_SESSIONS[2:])
SIMULATE = Command("simulate", (0,), "session.toml", _check_session)


def _spoilt(random: Random, files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return one or two of the files, each with one fault."""
    chosen = random.sample(sorted(files), random.choice([1, 1, 1, 2]))
    return {name: (spoilt_toml if name.endswith(".toml") else spoilt_table)(random, files[name]) for name in chosen}


def assert_answered_or_refused(command: Command, given_input: Input, spoilt: Mapping[str, bytes]) -> str | None:
    """Return the text of the result file, or None after a refusal; check what must hold of either."""
    with TemporaryDirectory(prefix="spoilt-") as made:
        folder = Path(made)
        argument, out = given_input.write(folder, spoilt), folder / "results" / "of this run"
        options = command.options(folder)
        before = sorted(folder.rglob("*"))
        shown, error = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(error):
            words = [command.name, str(argument), "--out", str(out), *options]
            status = cli.run(lambda: cli.app(words, standalone_mode=True))
        if not (out / command.result).exists():
            _check_refusal(folder, status, shown.getvalue(), error.getvalue())
            assert sorted(folder.rglob("*")) == before
            return None
        assert status in command.answered
        assert error.getvalue() == ""
        result = (out / command.result).read_text(encoding="utf-8")
    command.check(result)
    return result


def _check_refusal(folder: Path, status: int, shown: str, error: str) -> None:
    assert status == 2, error + "".join(path.read_text() for path in map(Path, re.findall(r"\S+\.txt", error)))
    assert shown == ""
    (line,) = error.splitlines()
    # the file, what is wrong with it, and after a full stop what to do
    not_there = re.match(r"locbench: [^:]+: (no such file|cannot be read|no file can have this name)", line)
    assert not_there or line.startswith(f"locbench: {folder}/"), line
    assert not_there or any(path.name in line for path in folder.rglob("*.*")), line
    assert re.search(r"\. [A-Z]", line), line
    assert "Traceback" not in line


def assert_answered_or_refused_when_spoilt(files: Input, random: Random, *commands: Command) -> None:
    """Spoil something, run one of the commands on it, and hold the outcome to what bad input may give."""
    spoilt = _spoilt(random, files.files)
    for name, data in spoilt.items():
        note(f"{name}:\n" + "\n".join(_new_lines(files.files[name], data)))
    assert_answered_or_refused(random.choice(commands), files, spoilt)


def _new_lines(before: bytes, after: bytes) -> list[str]:
    """Return the first lines that a fault has changed."""
    lines = (data.decode("utf-8", "backslashreplace").splitlines() for data in (before, after))
    return list(islice((line for line in unified_diff(*lines, n=0, lineterm="") if line.startswith("+")), 8))


@pytest.fixture(autouse=True)
def short_runs_only(monkeypatch):
    monkeypatch.setattr("locbench.simulation.world._LONGEST_RUN_S", LONGEST_SIMULATED_S)


CHANCE = st.randoms(use_true_random=False)


@pytest.mark.usefixtures("without_pictures")
@pytest.mark.parametrize("name", DEMOS)
@settings(max_examples=8)
@given(random=CHANCE)
def test_a_spoilt_demo_is_answered_or_refused(name, random):
    assert_answered_or_refused_when_spoilt(demo(name), random, *DRAWN)


@pytest.mark.usefixtures("without_pictures")
@pytest.mark.parametrize("kind", OTHER_LOGS)
@settings(max_examples=4)
@given(random=CHANCE)
def test_so_is_a_spoilt_log_of_another_kind(kind, random):
    assert_answered_or_refused_when_spoilt(other_log(kind), random, *DRAWN)


@settings(max_examples=60)
@given(random=CHANCE)
def test_a_spoilt_scenario_is_simulated_or_refused(random):
    assert_answered_or_refused_when_spoilt(scenario(), random, SIMULATE)


@pytest.mark.parametrize("name", DEMOS)
@settings(max_examples=1)
@given(random=CHANCE)
def test_pictures_of_a_spoilt_demo_can_be_drawn(name, random):
    """Only tables are spoilt: what gets as far as the pictures is mostly a spoilt number."""
    files = demo(name)
    tables = {path: data for path, data in files.files.items() if path.endswith(".csv")}
    assert_answered_or_refused(EVALUATE, files, _spoilt(random, tables))


@pytest.mark.usefixtures("without_pictures")
@pytest.mark.parametrize("fault", HARMLESS_FAULTS)
@pytest.mark.parametrize("command", [one for one in ON_SESSIONS if one is not PRECHECK], ids=lambda one: one.name)
def test_what_is_only_written_otherwise_gives_the_same_results(command, fault):
    """A precheck reads what the others read, and takes as long as all of them."""
    files = demo("orchard_shoved")
    spoilt = {path: fault(Random(1), data) for path, data in files.files.items() if path.endswith(".csv")}
    assert assert_answered_or_refused(command, files, spoilt) == untouched(command)


@cache
def untouched(command: Command) -> str:
    """Return the results of the demo as it is."""
    result = assert_answered_or_refused(command, demo("orchard_shoved"), {})
    assert result is not None
    return result
