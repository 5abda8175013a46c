"""From a scenario to the answer, for every kind of detection, from a camera on the robot and on the turret."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from logs import SmallLog

from locbench.errors import UsageError
from locbench.jobs.evaluate import evaluate
from locbench.jobs.simulate import simulate

ROOT = Path(__file__).parents[2]
KINDS = ["robot_pose", "tag_pose", "range_bearing", "bearing", "range"]
# the scenario's own noise, as the filter's
MATCHED = """name = "matched"
[tag_noise]
along_floor = "9 mm"
along_at_one_metre = "8 mm"
across_floor = "9 mm"
across_at_one_metre = "9 mm"
heading_floor = "0.7 deg"
heading_at_one_metre = "0.45 deg"
range_floor = "9 mm"
range_at_one_metre = "8 mm"
bearing_floor = "0.009 rad"
bearing_offset = "9 mm"
view_angle_growth = {growth}
"""


def _healthy(folder: Path, kind: str, carried_by: str) -> Path:
    """The healthy drive to its first six marks, without flips and displaced tags; returns the session's folder."""
    configs = Path(shutil.copytree(ROOT / "configs", folder / "configs"))
    # what does not know the tag's tilt cannot model a growth with it
    growth = 0.8 if kind.endswith("pose") else 0.0
    text = (configs / "scenario_healthy.toml").read_text()
    for old, new in (
        ('mount = "front"', f'mount = "front"\nreports = "{kind}"'),
        ('flips = "0.6 %"', 'flips = "0 %"'),
        ('dy = "8 mm"', 'dy = "0 mm"'),
        ('odometry_period = "10 ms"', 'odometry_period = "40 ms"'),
        ("view_angle_growth = 0.8", f"view_angle_growth = {growth}"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    (configs / "scenario.toml").write_text("[[waypoints]]".join(text.split("[[waypoints]]")[:15]))
    (configs / "matched.toml").write_text(MATCHED.format(growth=growth))
    if carried_by == "turret":
        robot = (configs / "robot_three_pods.toml").read_text()
        turning = '[cameras.front]\ncarried_by = "turret"\nturret_x = "-50 mm"\n'
        (configs / "robot_three_pods.toml").write_text(robot.replace("[cameras.front]\n", turning))
    simulate(configs / "scenario.toml", folder / "log")
    return folder / "log"


@pytest.mark.parametrize("carried_by", ["robot", "turret"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_beats_dead_reckoning_and_is_honest_about_it(tmp_path, kind, carried_by):
    log = _healthy(tmp_path, kind, carried_by)
    session = evaluate([log], [tmp_path / "configs" / "matched.toml"]).results.sessions[0]
    reckoned, fused = session.estimators["dead_reckoning"], session.estimators["matched"]
    assert fused.truth.position_rms_m.value < 0.6 * reckoned.truth.position_rms_m.value
    assert fused.corrections.offered > 500
    assert fused.corrections.accepted == fused.corrections.offered
    low, high = fused.consistency.nis_median.ci95
    assert low <= 1.0 <= high
    assert high - low < 0.45
    assert fused.consistency.verdict == "honest"
    assert ("tags_only" in session.estimators) == kind.endswith("pose")


def test_a_turret_that_is_taken_for_fixed_is_found_out(tmp_path):
    """The check above can fail: with the turret's yaw ignored the bearings contradict the odometry."""
    log = _healthy(tmp_path, "bearing", "turret")
    shutil.copy(ROOT / "configs" / "robot_three_pods.toml", tmp_path / "configs")
    text = (log / "session.toml").read_text()
    line = 'turret_yaw = { column = "turret_deg", unit = "deg" }\n'
    assert line in text
    (log / "session.toml").write_text(text.replace(line, ""))
    fused = evaluate([log], [tmp_path / "configs" / "matched.toml"]).results.sessions[0].estimators["matched"]
    assert fused.consistency.nis_median.value > 5.0


@pytest.fixture(scope="module")
def tag_poses(tmp_path_factory):
    return _healthy(tmp_path_factory.mktemp("tag_poses"), "tag_pose", "robot")


def test_tags_alone_say_from_tag_poses_what_they_say_from_robot_poses(tmp_path, tag_poses):
    """The errors are drawn in other frames, so the figures agree roughly; the lever of the heading adds a little."""
    sessions = [tag_poses, _healthy(tmp_path, "robot_pose", "robot")]
    alone = [evaluate([log]).results.sessions[0].estimators["tags_only"].truth for log in sessions]
    assert alone[0].position_rms_m.value == pytest.approx(alone[1].position_rms_m.value, rel=0.5)
    assert alone[0].heading_rms_rad.value == pytest.approx(alone[1].heading_rms_rad.value, rel=0.05)
    assert alone[0].coverage == pytest.approx(alone[1].coverage, abs=1e-3)


def test_the_replacing_mode_takes_tag_poses(tmp_path, tag_poses):
    fusion = tmp_path / "reset.toml"
    fusion.write_text('name = "reset"\n[correction]\nmode = "replace"\n')
    session = evaluate([tag_poses], [fusion]).results.sessions[0]
    replaced = session.estimators["reset"]
    assert replaced.corrections.accepted == replaced.corrections.offered > 500
    # every fix as good as tags alone, carried on by odometry
    assert replaced.truth.position_rms_m.value < session.estimators["tags_only"].truth.position_rms_m.value
    assert np.isfinite(replaced.consistency.nis_median.value)


def _small(folder: Path, heading: bool = True, **spread: float) -> Path:
    """The small log with tag poses of the tag straight ahead, level camera, some with a spread of their own."""
    log = SmallLog(folder).with_tags()
    table = log.tables["tags.csv"]
    poses = table[["x", "y", "h"]].to_numpy()
    turn = np.radians(poses[:, 2])
    # tag 1 at (4, 2) faces 180 deg; the camera sits 0.1 m ahead
    east, north = 4.0 - poses[:, 0], 2.0 - poses[:, 1]
    table["ahead"] = np.cos(turn) * east + np.sin(turn) * north - 0.1
    table["aside"] = -np.sin(turn) * east + np.cos(turn) * north
    table["facing"] = 180.0 - poses[:, 2]
    for name, value in spread.items():
        table[name] = value
    text = log.parts["tags"].replace("robot_pose", "tag_pose").replace('"x"', '"ahead"').replace('"y"', '"aside"')
    text = text.replace('column = "h"', 'column = "facing"')
    if not heading:
        text = text.replace('heading = { column = "facing", unit = "deg" }\n', "")
    columns = "".join(f'{name} = {{ column = "{name}", unit = "m" }}\n' for name in spread)
    log.parts["tags"] = text + columns
    return log.with_truth().write()


def _fusion(folder: Path, text: str) -> Path:
    (folder / "fusion.toml").write_text(f'name = "f"\n{text}')
    return folder / "fusion.toml"


def test_exact_tag_poses_alone_give_the_exact_pose(tmp_path):
    session = evaluate([_small(tmp_path)]).results.sessions[0]
    alone = session.estimators["tags_only"].truth
    # held up to half a second between fixes 0.2 s apart, 40 ms late, at half a metre a second
    assert alone.position_max_m.value < 0.51 * 0.25
    assert alone.position_rms_m.value < 0.08
    assert session.estimators["default_kalman"].truth.position_max_m.value < 1e-3


def test_tag_poses_without_headings_give_no_pose_alone_and_replace_none(tmp_path):
    folder = _small(tmp_path, heading=False)
    session = evaluate([folder]).results.sessions[0]
    assert session.estimators_left_out["tags_only"] == (
        "one detection of kind tag_pose without heading does not give a pose"
    )
    assert session.estimators["default_kalman"].truth.position_max_m.value < 1e-3
    for mode in ("replace", "fixed_gain"):
        with pytest.raises(UsageError, match=r"needs whole poses.*has 41 detections without the tag's heading"):
            evaluate([folder], [_fusion(folder, f'[correction]\nmode = "{mode}"\n')])


def test_the_logs_own_spread_must_be_there_to_be_used(tmp_path):
    folder = _small(tmp_path / "bare")
    with pytest.raises(UsageError) as caught:
        evaluate([folder], [_fusion(folder, '[tag_noise]\nsource = "log"\n')])
    for part in ("fusion.toml: tag_noise.source", "no usable standard deviations of its own", "x_std and y_std"):
        assert part in str(caught.value)
    folder = _small(tmp_path / "own", x_std=0.05, y_std=0.05)
    wide = evaluate([folder], [_fusion(folder, '[tag_noise]\nsource = "log"\nscale = 20.0\n')])
    narrow = evaluate([folder], [_fusion(folder, '[tag_noise]\nsource = "log"\nscale = 0.05\n')])
    sure = [answer.results.sessions[0].estimators["f"].truth.position_rms_m.value for answer in (narrow, wide)]
    jumps = [answer.results.sessions[0].estimators["f"].corrections.jump_rms_m.value for answer in (narrow, wide)]
    assert max(sure) < 2e-3
    # a fix believed to be good moves the pose further
    assert jumps[0] > 2 * jumps[1]
