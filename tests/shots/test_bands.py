import numpy as np
import pytest
from builders import comparison

from locbench.config import ShooterConfig
from locbench.config.field import Band, Goal
from locbench.shots import Basis, Substitute, aim_from, joined_shots, shot_numbers

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


NO_SUBSTITUTE = Substitute(np.zeros((0, 3)), np.zeros((0, 3, 3)), None, np.zeros((0, 3)))


def _numbers(shots, band, shooter=SHOOTER, substitute=NO_SUBSTITUTE, **more):
    return shot_numbers(shots, band, GOAL, shooter, substitute, **more)


def _seen(shots, band, shooter=SHOOTER):
    return _numbers(shots, band, shooter).seen


def _places(ranges):
    return np.column_stack([3.5 - np.array(ranges), np.full(len(ranges), 2.0), np.zeros(len(ranges))])


def test_bands_are_half_open_in_the_distance_of_the_true_pose():
    true = _places([1.0, 1.999, 2.0, 3.999, 4.0])
    shots = aim_from(_comparison(true, true), GOAL, SHOOTER, 0)
    assert _seen(shots, NEAR).miss_rms_m.n == 2
    assert _seen(shots, FAR).miss_rms_m.n == 2


def test_the_same_pose_error_misses_more_from_farther_away():
    rng = np.random.default_rng(1)
    ranges = np.repeat([1.5, 3.0], 40)
    true = _places(ranges)
    believed = true + rng.normal(size=(80, 3)) * [0.02, 0.02, np.radians(3)]
    shots = aim_from(_comparison(true, believed), GOAL, SHOOTER, 0)
    near, far = _seen(shots, NEAR), _seen(shots, FAR)
    assert near.miss_rms_m.value < far.miss_rms_m.value
    assert near.hit_probability.value > far.hit_probability.value
    low, high = far.hit_probability.ci95
    assert low < far.hit_probability.value < high
    assert far.lateral_rms_m.value == pytest.approx(np.hypot(0.02, 3.0 * np.radians(3)), rel=0.3)


def test_an_empty_band_says_to_drive_there():
    true = _places([1.5])
    numbers = _numbers(aim_from(_comparison(true, true), GOAL, SHOOTER, 0), FAR)
    assert numbers.figures.hit_probability.value is None
    assert "drive here: 20 more" in numbers.figures.hit_probability.why
    assert "drive here" in numbers.seen.hit_probability.why
    assert numbers.needed == 20


def test_what_the_turret_cannot_reach_is_no_miss():
    shooter = SHOOTER.model_copy(
        update={"turret": SHOOTER.turret.model_copy(update={"travel_from": 1.0, "travel_to": 2.0})}
    )
    true = _places([1.5, 1.6])
    substitute = Substitute(true, np.tile(1e-4 * np.eye(3), (2, 1, 1)), None, np.zeros((0, 3)))
    numbers = _numbers(aim_from(_comparison(true, true), GOAL, shooter, 0), NEAR, shooter, substitute)
    assert numbers.cannot_aim == 2
    for figures in (numbers.figures, numbers.seen):
        assert figures.hit_probability.value is None
        assert "cannot aim" in figures.hit_probability.why


def test_without_a_shooter_there_are_misses_but_no_hits():
    true = _places([1.5, 1.6])
    numbers = _seen(aim_from(_comparison(true, true + [0.01, 0, 0]), GOAL, None, 0), NEAR, None)
    assert numbers.miss_rms_m.value == pytest.approx(0.01)
    assert numbers.hit_probability.value is None
    assert "--shooter" in numbers.hit_probability.why


def test_the_references_heading_uncertainty_grows_with_distance():
    rng = np.random.default_rng(4)
    true = _places(np.full(60, 3.0))
    believed = true + rng.normal(size=(60, 3)) * [0.02, 0.02, 0.0]
    sure = _seen(aim_from(_comparison(true, believed), GOAL, SHOOTER, 0), FAR).lateral_rms_m
    unsure = _seen(aim_from(_comparison(true, believed, 0.005), GOAL, SHOOTER, 0), FAR).lateral_rms_m
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


STD = np.array([0.02, 0.02, np.radians(2)])
COVARIANCE = np.diag(STD**2)


def _noisy(count, seed, distance=1.5, runs=1):
    """Shots from so many places a session with errors of the covariance above."""
    rng = np.random.default_rng(seed)
    parts = []
    for run in range(runs):
        true = _places(np.full(count, distance))
        parts.append(aim_from(_comparison(true, true + rng.normal(size=(count, 3)) * STD), GOAL, SHOOTER, run))
    return joined_shots(parts)


NO_ERRORS = np.zeros((0, 3))


def _claimed(why=None, covariance=COVARIANCE, body_error=NO_ERRORS):
    pose = _places(np.linspace(1.0, 3.9, 30))
    return Substitute(pose, np.tile(covariance, (30, 1, 1)), why, body_error)


def test_enough_independent_shots_are_measured():
    numbers = _numbers(_noisy(60, 1), NEAR, substitute=_claimed())
    assert numbers.basis is Basis.MEASURED
    assert numbers.needed == 0
    assert numbers.figures == numbers.seen
    assert numbers.figures.hit_probability.ci95 is not None


def test_too_few_shots_are_predicted_from_an_honest_covariance():
    """The prediction agrees with what many shots of that covariance do."""
    few = _numbers(_noisy(5, 2), NEAR, substitute=_claimed())
    assert few.basis is Basis.PREDICTED
    assert few.seen.miss_rms_m.n == 5
    assert 15 <= few.needed <= 19
    assert few.figures.miss_rms_m.ci95 is None
    many = _numbers(_noisy(4000, 3), NEAR).figures
    for name in ("miss_rms_m", "lateral_rms_m", "along_rms_m", "hit_probability"):
        assert getattr(few.figures, name).value == pytest.approx(getattr(many, name).value, rel=0.05)
    assert few.figures.range_m.value == pytest.approx(1.45)


def test_a_covariance_that_its_errors_belie_predicts_nothing():
    numbers = _numbers(_noisy(5, 2), NEAR, substitute=_claimed(why="its errors are larger than it claims"))
    assert numbers.basis is Basis.MEASURED
    assert numbers.figures.miss_rms_m.value is None
    assert f"drive here: {numbers.needed} more" in numbers.figures.miss_rms_m.why
    assert "larger than it claims" in numbers.figures.hit_probability.why
    assert numbers.seen.miss_rms_m.value is not None


def test_an_estimator_without_covariance_predicts_nothing():
    numbers = _numbers(_noisy(5, 2), NEAR, substitute=_claimed(covariance=np.full((3, 3), np.nan)))
    assert numbers.figures.miss_rms_m.value is None
    assert "gives no covariance" in numbers.figures.miss_rms_m.why


def test_errors_are_carried_in_the_robots_frame():
    """A robot that believes itself 5 cm ahead throws 5 cm short, towards whatever goal it faces."""
    ahead = np.tile([0.05, 0.0, 0.0], (6, 1))
    numbers = _numbers(_noisy(0, 2), NEAR, substitute=_claimed(why="too sure", body_error=ahead))
    assert numbers.basis is Basis.TRANSPORTED
    assert numbers.figures.along_rms_m.value == pytest.approx(0.05)
    assert numbers.figures.lateral_rms_m.value == pytest.approx(0.0, abs=1e-12)
    assert numbers.figures.hit_probability.value == 1.0
    turned = _claimed(why="too sure", body_error=ahead)
    turned = Substitute(turned.pose + [0, 0, np.pi / 2], turned.covariance, turned.why_unpredictable, ahead)
    sideways = _numbers(_noisy(0, 2), NEAR, substitute=turned).figures
    assert sideways.lateral_rms_m.value == pytest.approx(0.05)
    assert sideways.along_rms_m.value == pytest.approx(0.0, abs=1e-12)


def test_a_heading_error_carried_elsewhere_grows_with_the_distance():
    turned = _claimed(why="too sure", body_error=np.tile([0.0, 0.0, 0.02], (3, 1)))
    near, far = (_numbers(_noisy(0, 2), band, substitute=turned).figures for band in (NEAR, FAR))
    assert far.lateral_rms_m.value > 1.5 * near.lateral_rms_m.value


def test_what_nothing_corrects_needs_twenty_sessions():
    shots = _noisy(10, 4, runs=8)
    assert _numbers(shots, NEAR).needed == 0
    assert _numbers(shots, NEAR, most_independent=8.0).needed == 12


def test_from_six_sessions_on_their_differences_are_in_the_interval():
    """Half of the sessions throw everything past the goal: sixty shots are worth few trials."""
    alike, apart = _noisy(10, 5, runs=6), _noisy(10, 5, runs=6)
    shift = np.where(apart.run % 2 == 0, 0.0, 0.5)
    object.__setattr__(apart, "clean", shift == 0.0)
    wide, narrow = (_numbers(shots, NEAR).seen.hit_probability for shots in (apart, alike))
    assert wide.independent < 7.0
    assert narrow.independent > 30.0
