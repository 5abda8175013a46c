"""What marks alone say about single corrections, against what a hidden dense truth knows."""

import shutil
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from locbench.config import FieldConfig, FusionConfig, RobotConfig, ScenarioConfig, ShooterConfig, load_config
from locbench.errors import ConfigError
from locbench.fusion import fuse
from locbench.jobs.judging import judge_estimator, judges_of
from locbench.odometry import measure_motion
from locbench.reference import Judge, SmoothedReference
from locbench.session import Session, read_session
from locbench.session.writer import SessionRecord, SourceFiles, write_session
from locbench.simulation import record_run
from locbench.statistics import CorrectionVerdict
from locbench.vision import prepare_sightings

CONFIGS = Path(__file__).parents[2] / "configs"
FILES = SourceFiles(
    CONFIGS / "robot_three_pods.toml",
    CONFIGS / "field_orchard.toml",
    (CONFIGS / "fusion_gated_kalman.toml",),
    CONFIGS / "shooter_orchard.toml",
)
ROBOT, FIELD = load_config(FILES.robot, RobotConfig), load_config(FILES.field, FieldConfig)
FUSION, SHOOTER = load_config(FILES.fusion[0], FusionConfig), load_config(FILES.shooter, ShooterConfig)
SHOVED = tomllib.loads((CONFIGS / "scenario_shoved.toml").read_text())
DECIDED = (CorrectionVerdict.HELPED, CorrectionVerdict.HURT)
RUNS = 25


def _shoved_scenario(rng: np.random.Generator) -> ScenarioConfig:
    """The first 26 s of the shoved demo with one or two shoves and a slip of any size, at any time."""
    shoves = []
    for start in np.sort(rng.uniform(4.0, 22.0, size=rng.integers(1, 3))):
        direction, size = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(20.0, 200.0)
        shoves.append(
            {
                "start": f"{start:.2f} s",
                "contact": "400 ms",
                "recovery": "1.2 s",
                "dx": f"{size * np.cos(direction):.1f} mm",
                "dy": f"{size * np.sin(direction):.1f} mm",
                "turn": f"{rng.uniform(-20.0, 20.0):.1f} deg",
                "pods_lose": {pod: f"{rng.uniform(5.0, 45.0):.0f} %" for pod in ("left", "right", "cross")},
                "gyro_loses": f"{rng.uniform(0.0, 8.0):.1f} %",
            }
        )
    slip = {
        "pod": str(rng.choice(["left", "right", "cross"])),
        "start": f"{rng.uniform(4.0, 22.0):.2f} s",
        "duration": "1 s",
        "lost": f"{rng.uniform(2.0, 25.0):.0f} %",
    }
    changes = {
        "waypoints": SHOVED["waypoints"][:9],
        "logging": {"odometry_period": "40 ms", "truth_period": "20 ms"},
        "camera": {**SHOVED["camera"], "frame_period": "150 ms"},
        "shoves": shoves,
        "slips": [slip],
    }
    return ScenarioConfig.model_validate(SHOVED | changes)


def _recorded(seed: int) -> SessionRecord | None:
    """Return a run, or None where the drawn shoves would overlap each other or a stand."""
    scenario = _shoved_scenario(np.random.default_rng(seed))
    try:
        return record_run(scenario, ROBOT, FIELD, FILES, seed, "drawn scenario").record
    except ConfigError:
        return None


def _verdicts(session: Session, judges: tuple[Judge | None, ...]) -> list[CorrectionVerdict | None]:
    """Return what is said of every fix: of the pose and of the shot at each goal."""
    motion = measure_motion(session.odometry, ROBOT)
    sightings = prepare_sightings(session.detections, FIELD, FUSION)
    noise = FUSION.motion_noise.applied_to(ROBOT.motion_noise)
    estimate = fuse(motion, session.stretches[0].start, sightings, FUSION, noise)
    found = []
    for judge in judges:
        judgement = judge_estimator([estimate], [motion], [judge], [None], FIELD.goals, SHOOTER)
        shots = [verdict for (kicks,) in judgement.kicks.values() for verdict in kicks.verdict]
        found.append([*judgement.verdicts[0], *shots])
    return found


def _as_if_closed(judge: SmoothedReference) -> SmoothedReference:
    """Return the reference without its closure test."""
    nothing = np.zeros_like(judge.closure.chi_square)
    return replace(judge, closure=replace(judge.closure, chi_square=nothing, flagged=nothing > 0.0))


def test_on_shoved_runs_marks_seldom_contradict_the_hidden_truth(tmp_path):
    decided, contradicted, unchecked, unchecked_wrong = 0, 0, 0, 0
    said: Counter[CorrectionVerdict | None] = Counter()
    seeds = iter(range(1, 10 * RUNS))
    for _ in range(RUNS):
        record = next(found for seed in seeds if (found := _recorded(seed)) is not None)
        folder = tmp_path / "run"
        write_session(folder, record)
        session = read_session(folder)
        shutil.rmtree(folder)
        motion = measure_motion(session.odometry, ROBOT)
        (truth,) = judges_of(session, [motion])
        (marks,) = judges_of(replace(session, truth=None), [motion])
        true, ours, careless = _verdicts(session, (truth, marks, _as_if_closed(marks)))
        said.update(verdict for verdict in ours if verdict is not None)
        decided += sum(mine in DECIDED for mine in ours)
        contradicted += sum(mine in DECIDED and mine is not right for mine, right in zip(ours, true, strict=True))
        unchecked += sum(mine in DECIDED for mine in careless)
        unchecked_wrong += sum(m in DECIDED and m is not right for m, right in zip(careless, true, strict=True))
    print({str(word): count for word, count in said.items()}, contradicted / decided, unchecked_wrong / unchecked)
    assert decided > 500
    assert contradicted <= 0.05 * decided
    # without the closure test the same marks would be wrong far more often
    assert unchecked_wrong > 0.10 * unchecked
