"""From a scenario to the answer, for every kind of detection, from a camera on the robot and on the turret."""

import shutil
from pathlib import Path

import numpy as np
import pytest

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
