"""Three foreign logs of one drive whose truth is known: adopted, answered as told, evaluated, and broken on purpose.

The files in golden/ are what a person reads; after a change on purpose: python tests/adoption/test_foreign_sets.py
"""

import math
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from answering import answered, open_questions
from orchard_drive import CONFIGS, write_clockwise_set, write_pose_set, write_ranging_set

from locbench.config import SessionConfig
from locbench.errors import LocbenchError
from locbench.jobs.adopt import adopt
from locbench.jobs.evaluate import evaluate

GOLDEN = Path(__file__).parent / "golden"
# from the folder of the session
ROBOT, FIELD = "../configs/robot_three_pods.toml", "../configs/field_orchard.toml"
_ON_THE_MARK = {"start.mark": "S1"}
_TAG_FRAME = {
    "tags.frame.heading_sense": "clockwise",
    "tags.frame.heading_zero": "+y",
    "tags.frame.y_axis": "left",
    "tags.frame.rotate": "0 deg",
    "tags.frame.origin": "2 m, 2 m",
}


@dataclass(frozen=True)
class ForeignSet:
    """How a set is written, which files are given, what its questions are answered, and what would break it."""

    write: Callable[[Path], list[Path]]
    given: tuple[str, ...]
    answers: dict[str, str]
    breaks: dict[str, tuple[str, str]]


SETS = {
    "clockwise": ForeignSet(
        write_clockwise_set,
        (),
        {"robot": ROBOT, "field": FIELD, **_ON_THE_MARK, "odometry.frame.heading_sense": "clockwise", **_TAG_FRAME},
        {
            "gyro's sense": ('{ heading_sense = "clockwise" }', '{ heading_sense = "counter-clockwise" }'),
            "unit of the clock": ('"t [ms]", unit = "ms"', '"t [ms]", unit = "us"'),
            "unit of the camera's clock": ('"shutter [ms]", unit = "ms"', '"shutter [ms]", unit = "us"'),
            "pods": ('left = "enc_l", right = "enc_r"', 'left = "enc_r", right = "enc_l"'),
            "unit of x": ('"x", unit = "in"', '"x", unit = "cm"'),
            "tags' sense": ('sense = "clockwise", heading_zero', 'sense = "counter-clockwise", heading_zero'),
            "tags' zero": ('heading_zero = "+y"', 'heading_zero = "+x"'),
            "tags' turn": ('rotate = "0 deg"', 'rotate = "90 deg"'),
            "tags' origin": ('origin_x = "2 m"', 'origin_x = "0 m"'),
        },
    ),
    "pose": ForeignSet(
        write_pose_set,
        ("--robot", "configs/robot_three_pods.toml"),
        {"field": FIELD, **_ON_THE_MARK, "odometry.frame.y_axis": "left"},
        {
            "sense": ('heading_sense = "clockwise"', 'heading_sense = "counter-clockwise"'),
            "zero": ('heading_zero = "+y"', 'heading_zero = "+x"'),
            "unit of x": ('"pos x", unit = "mm"', '"pos x", unit = "cm"'),
            "unit of the heading": ('"heading", unit = "deg"', '"heading", unit = "rad"'),
            "unit of the clock": ('unit = "us"', 'unit = "ms"'),
        },
    ),
    "ranging": ForeignSet(
        write_ranging_set,
        ("--robot", "configs/robot_three_pods.toml", "--field", "configs/field_orchard.toml"),
        {
            **_ON_THE_MARK,
            "tags.offset": "-1700000000 s",
            "tags.measured": "horizontal",
            "tags.frame.heading_sense": "clockwise",
        },
        {
            "camera's clock": ('"-1700000000 s"', '"-1700000001 s"'),
            "unit of the range": ('"range", unit = "in"', '"range", unit = "cm"'),
            "unit of the bearing": ('"bearing", unit = "deg"', '"bearing", unit = "rad"'),
            "bearing's sense": ('{ heading_sense = "clockwise" }', '{ heading_sense = "counter-clockwise" }'),
            "turning's sense": ('{ heading_sense = "counter-clockwise" }', '{ heading_sense = "clockwise" }'),
            "unit of the turn rate": ('"deg/s"', '"rad/s"'),
            "unit of the speed": ('(in/s)", unit = "in/s"', '(in/s)", unit = "cm/s"'),
        },
    ),
}
BREAKS = [(name, what) for name, one in SETS.items() for what in one.breaks]


def _adopted(folder: Path, name: str) -> tuple[Path, str]:
    """The session's folder and what the command showed, as a person in `folder` would run it."""
    shutil.copytree(CONFIGS, folder / "configs")
    tables = [path.relative_to(folder) for path in SETS[name].write(folder / "log")]
    run = subprocess.run(
        [sys.executable, "-m", "locbench", "adopt", *map(str, tables), *SETS[name].given, "--out", name],
        cwd=folder,
        env={**os.environ, "COLUMNS": "100", "NO_COLOR": "1"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
    )
    return folder / name, "".join(f"{line.rstrip()}\n" for line in run.stdout.splitlines())


@pytest.fixture(scope="module")
def sessions(tmp_path_factory):
    return {name: _adopted(tmp_path_factory.mktemp(name), name) for name in SETS}


@pytest.mark.parametrize("name", SETS)
def test_a_person_reads_this(sessions, name):
    session, shown = sessions[name]
    assert shown == (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")
    assert (session / "session.toml").read_text(encoding="utf-8") == (GOLDEN / f"{name}.toml").read_text("utf-8")


@pytest.mark.parametrize("name", SETS)
def test_as_long_as_questions_are_open_nothing_is_evaluated(sessions, name):
    with pytest.raises(LocbenchError, match=r"session\.toml"):
        evaluate([sessions[name][0]])


def _answered_copy(sessions, name: str, folder: Path) -> Path:
    shutil.copytree(sessions[name][0].parent, folder / "copy")
    session = folder / "copy" / name / "session.toml"
    session.write_text(answered(session.read_text(), SETS[name].answers))
    return session


def _strain(folder: Path) -> float:
    """How far the worst figure lies beyond its bound, as a multiple of it; infinite where there is no figure at all.

    Bounds: at the marks 20 mm and 0.5 deg for dead reckoning, 30 mm for the filter and 50 mm and 10 deg for tags alone;
    a filter that knows what it reads refuses one fix in a hundred, here three at most.
    """
    estimators = evaluate([folder]).results.sessions[0].estimators
    figures = []
    for name, position_m, heading_deg in (
        ("dead_reckoning", 0.02, 0.5),
        ("default_kalman", 0.03, 2.0),
        ("tags_only", 0.05, 10.0),
    ):
        marks = estimators[name].marks if name in estimators else None
        if name in estimators and (marks is None or marks.position_rms_m.value is None):
            return math.inf
        if marks is not None:
            figures.append(marks.position_rms_m.value / position_m)
            figures.append(np.degrees(marks.heading_rms_rad.value) / heading_deg)
    fixes = estimators["default_kalman"].corrections if "default_kalman" in estimators else None
    if fixes is not None:
        figures.append((1.0 - fixes.accepted / fixes.offered) / 0.03 if fixes.offered else math.inf)
    return max(figures)


@pytest.mark.parametrize("name", SETS)
def test_answered_as_told_it_is_a_session_and_the_numbers_are_right(sessions, name, tmp_path):
    session = _answered_copy(sessions, name, tmp_path)
    SessionConfig.model_validate(tomllib.loads(session.read_text()))
    assert _strain(session.parent) < 1.0
    results = evaluate([session.parent]).results
    assert results.evidence == "B"
    assert len(results.sessions[0].estimators) == {"clockwise": 3, "pose": 1, "ranging": 2}[name]


@pytest.mark.parametrize(("name", "what"), BREAKS, ids=[f"{name}: {what}" for name, what in BREAKS])
def test_a_wrong_unit_sense_or_clock_would_not_pass(sessions, name, what, tmp_path):
    session = _answered_copy(sessions, name, tmp_path)
    right, wrong = SETS[name].breaks[what]
    text = session.read_text()
    assert text.count(right) == 1
    session.write_text(text.replace(right, wrong))
    assert _strain(session.parent) > 5.0


@pytest.mark.parametrize("name", SETS)
def test_with_robot_and_field_file_the_data_answer_what_they_can(name, tmp_path):
    """Given both files, the marks show frames and units, and what the person would have answered comes out."""
    given = {"robot_file": CONFIGS / "robot_three_pods.toml", "field_file": CONFIGS / "field_orchard.toml"}
    adopted = adopt(SETS[name].write(tmp_path / "log"), tmp_path / "out", **given)
    session = tmp_path / "out" / "session.toml"
    left = open_questions(session.read_text())
    assert left == [question.key for question in adopted.proposal.questions]
    expected = {
        "clockwise": ["start.mark"],
        "pose": ["start.mark", "odometry.time.unit"],
        "ranging": open_questions((GOLDEN / "ranging.toml").read_text(encoding="utf-8")),
    }
    assert left == expected[name]
    answers = {key: answer for key, answer in SETS[name].answers.items() if key in left}
    session.write_text(answered(session.read_text(), answers))
    assert _strain(session.parent) < 1.0


if __name__ == "__main__":
    GOLDEN.mkdir(exist_ok=True)
    for one in SETS:
        with tempfile.TemporaryDirectory() as place:
            found, text = _adopted(Path(place), one)
            (GOLDEN / f"{one}.txt").write_text(text, encoding="utf-8")
            (GOLDEN / f"{one}.toml").write_text((found / "session.toml").read_text("utf-8"), encoding="utf-8")
