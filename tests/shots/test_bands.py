import numpy as np
import pytest
from builders import comparison

from locbench.config import ShooterConfig
from locbench.config.field import Band, Goal
from locbench.shots import aim_from, joined_shots, shot_numbers

GOAL = Goal.model_validate(
    {
        "name": "east bin",
        "x": "3.5 m",
        "y": "2 m",
        "height": "0.7 m",
        "opening": {"kind": "horizontal", "radius": "200 mm"},
    }
)
SHOOTER = ShooterConfig.model_validate({"name": "s", "projectile": {"diameter": "70 mm"}, "entry_angle": "50 deg"})
NEAR = Band.model_validate({"name": "near", "from": "1 m", "to": "2 m"})
FAR = Band.model_validate({"name": "far", "from": "2 m", "to": "4 m"})


def _comparison(true, believed, heading_std=0.0):
    return comparison(believed, true, (0.001, heading_std))


def _places(ranges):
    return np.column_stack([3.5 - np.array(ranges), np.full(len(ranges), 2.0), np.zeros(len(ranges))])


def test_bands_are_half_open_in_the_distance_of_the_true_pose():
    true = _places([1.0, 1.999, 2.0, 3.999, 4.0])
    shots = aim_from(_comparison(true, true), GOAL, SHOOTER, 0)
    assert shot_numbers(shots, NEAR).miss_rms_m.n == 2
    assert shot_numbers(shots, FAR).miss_rms_m.n == 2


def test_the_same_pose_error_misses_more_from_farther_away():
    rng = np.random.default_rng(1)
    ranges = np.repeat([1.5, 3.0], 40)
    true = _places(ranges)
    believed = true + rng.normal(size=(80, 3)) * [0.02, 0.02, np.radians(3)]
    shots = aim_from(_comparison(true, believed), GOAL, SHOOTER, 0)
    near, far = shot_numbers(shots, NEAR), shot_numbers(shots, FAR)
    assert near.miss_rms_m.value < far.miss_rms_m.value
    assert near.hit_probability.value > far.hit_probability.value
    low, high = far.hit_probability.ci95
    assert low < far.hit_probability.value < high
    assert far.lateral_rms_m.value == pytest.approx(np.hypot(0.02, 3.0 * np.radians(3)), rel=0.3)


def test_an_empty_band_says_to_drive_there():
    true = _places([1.5])
    numbers = shot_numbers(aim_from(_comparison(true, true), GOAL, SHOOTER, 0), FAR)
    assert numbers.hit_probability.value is None
    assert "drive here" in numbers.hit_probability.why


def test_what_the_turret_cannot_reach_is_no_miss():
    shooter = SHOOTER.model_copy(
        update={"turret": SHOOTER.turret.model_copy(update={"travel_from": 1.0, "travel_to": 2.0})}
    )
    true = _places([1.5, 1.6])
    numbers = shot_numbers(aim_from(_comparison(true, true), GOAL, shooter, 0), NEAR)
    assert numbers.cannot_aim == 2
    assert numbers.hit_probability.value is None
    assert "cannot aim" in numbers.hit_probability.why


def test_without_a_shooter_there_are_misses_but_no_hits():
    true = _places([1.5, 1.6])
    numbers = shot_numbers(aim_from(_comparison(true, true + [0.01, 0, 0]), GOAL, None, 0), NEAR)
    assert numbers.miss_rms_m.value == pytest.approx(0.01)
    assert numbers.hit_probability.value is None
    assert "--shooter" in numbers.hit_probability.why


def test_the_references_heading_uncertainty_grows_with_distance():
    rng = np.random.default_rng(4)
    true = _places(np.full(60, 3.0))
    believed = true + rng.normal(size=(60, 3)) * [0.02, 0.02, 0.0]
    sure = shot_numbers(aim_from(_comparison(true, believed), GOAL, SHOOTER, 0), FAR).lateral_rms_m
    unsure = shot_numbers(aim_from(_comparison(true, believed, 0.005), GOAL, SHOOTER, 0), FAR).lateral_rms_m
    assert unsure.ci95[0] < sure.ci95[0]
    assert unsure.value == sure.value


def test_sessions_are_joined_and_places_without_heading_left_out():
    true = _places([1.5, 1.6])
    blind = true * [1, 1, np.nan]
    shots = joined_shots(
        [aim_from(_comparison(true, true), GOAL, SHOOTER, 0), aim_from(_comparison(blind, true), GOAL, SHOOTER, 1)]
    )
    assert len(shots.range_m) == 2
    assert shots.clean.tolist() == [True, True]
