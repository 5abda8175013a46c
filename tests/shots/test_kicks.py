import numpy as np
import pytest
from builders import field
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import ShooterConfig
from locbench.config.shooter import Turret
from locbench.fusion import Corrections, Rule
from locbench.geometry import compose
from locbench.reference import KnownPoses
from locbench.shots import aim_kicks, landing_offset
from locbench.shots.landing import aim_angle, goal_seen, goal_seen_covariance
from locbench.statistics import CorrectionVerdict

BIN = {"name": "east bin", "x": "3.5 m", "y": "2 m", "height": "0.7 m"}
GOAL = field(goals=[{**BIN, "opening": {"kind": "horizontal", "radius": "200 mm"}}]).goals[0]
CENTRE = np.array([3.5, 2.0])
small = st.floats(-0.4, 0.4)


def _corrections(before, after, rejected=None):
    before, after = np.atleast_2d(before).astype(float), np.atleast_2d(after).astype(float)
    count = len(before)
    return Corrections(
        captured_s=np.arange(1.0, count + 1.0),
        arrived_s=np.arange(1.0, count + 1.0),
        tag=np.ones(count, dtype=int),
        row=np.arange(1, count + 1),
        rejected_by=rejected or (None,) * count,
        normalised_innovation_squared=np.ones(count),
        degrees_of_freedom=np.full(count, 3),
        whitened_innovation=np.full((count, 3), np.nan),
        reacquired=np.zeros(count, dtype=bool),
        before=before,
        after=after,
    )


def _truth(pose, stds=(0.0, 0.0)):
    return KnownPoses(np.array([pose], dtype=float), np.diag(np.square([stds[0], *stds]))[np.newaxis])


def _shooter(**turret):
    projectile = {"diameter": "70 mm"}
    return ShooterConfig.model_validate(
        {"name": "s", "entry_angle": "50 deg", "projectile": projectile, "turret": turret}
    )


@given(small, small, small)
def test_a_miss_is_how_far_the_believed_and_the_true_place_of_the_goal_are_apart(dx, dy, turn):
    true = np.array([[1.0, 1.2, 0.7]])
    believed = true + [dx, dy, turn]
    apart = np.linalg.norm(goal_seen(true, CENTRE) - goal_seen(believed, CENTRE))
    assert apart == pytest.approx(np.linalg.norm(landing_offset(true, believed, CENTRE)), abs=1e-12)


@given(st.floats(0, 3), st.floats(0, 3), st.floats(-3, 3))
def test_the_covariance_of_where_the_goal_is_seen_is_that_of_small_differences(x, y, heading):
    pose, step = np.array([x, y, heading]), 1e-6
    jacobian = np.column_stack(
        [
            (goal_seen((pose + step * d)[np.newaxis], CENTRE) - goal_seen((pose - step * d)[np.newaxis], CENTRE))[0]
            / (2.0 * step)
            for d in np.eye(3)
        ]
    )
    root = np.array([[0.01, 0.0, 0.0], [0.003, 0.02, 0.0], [0.001, -0.002, 0.004]])
    covariance = root @ root.T
    found = goal_seen_covariance(pose[np.newaxis], covariance[np.newaxis], CENTRE)[0]
    np.testing.assert_allclose(found, jacobian @ covariance @ jacobian.T, atol=1e-11)


def test_a_fix_may_help_the_position_and_hurt_the_shot():
    true = np.array([1.0, 2.0, 0.0])
    # 40 mm nearer, but turned by 2 deg: at 2.5 m that is 87 mm to the side
    fixes = _corrections(true + [0.05, 0.0, 0.0], true + [0.01, 0.0, np.radians(2.0)])
    assert aim_kicks(fixes, _truth(true), GOAL, None).verdict == (CorrectionVerdict.HURT,)


def test_an_unsure_heading_of_the_reference_leaves_the_shot_undecided():
    true = np.array([1.0, 2.0, 0.0])
    fixes = _corrections(true + [0.0, 0.0, 0.02], true + [0.0, 0.0, 0.01])
    assert aim_kicks(fixes, _truth(true, (0.001, 0.001)), GOAL, None).verdict == (CorrectionVerdict.HELPED,)
    assert aim_kicks(fixes, _truth(true, (0.001, 0.050)), GOAL, None).verdict == (CorrectionVerdict.UNDECIDED,)
    assert aim_kicks(fixes, None, GOAL, None).verdict == (None,)


def test_the_verdict_on_the_shot_is_the_probability_of_landing_nearer():
    """Drawing the robot's true pose: a verdict stands exactly where 97.5 % of the draws agree."""
    rng = np.random.default_rng(4)
    stds = (0.008, 0.006)
    true = np.array([1.0, 1.4, 0.3])
    draws = true + rng.normal(size=(20_000, 3)) * [stds[0], stds[0], stds[1]]
    seen = dict.fromkeys(CorrectionVerdict, 0)
    for _ in range(80):
        before, after = true + rng.normal(size=(2, 3)) * [0.02, 0.02, 0.015]
        verdict = aim_kicks(_corrections(before, after), _truth(true, stds), GOAL, None).verdict[0]
        miss_before, miss_after = (
            np.linalg.norm(landing_offset(draws, np.tile(pose, (len(draws), 1)), CENTRE), axis=1)
            for pose in (before, after)
        )
        nearer = np.mean(miss_after < miss_before)
        seen[verdict] += 1
        # the place of the goal in the robot's frame is Gaussian to first order only
        limits = {
            CorrectionVerdict.HELPED: (0.965, 1.0),
            CorrectionVerdict.HURT: (0.0, 0.035),
            CorrectionVerdict.UNDECIDED: (0.015, 0.985),
            CorrectionVerdict.NEUTRAL: (0.0, 1.0),
        }[verdict]
        assert limits[0] <= nearer <= limits[1]
    assert min(seen[v] for v in (CorrectionVerdict.HELPED, CorrectionVerdict.HURT, CorrectionVerdict.UNDECIDED)) > 5


def test_a_kick_is_how_far_the_turret_turns():
    before, after = np.array([1.0, 2.0, 0.0]), np.array([1.0, 2.0, np.radians(3.0)])
    kicks = aim_kicks(_corrections([before, before], [after, after], (None, Rule.GATE)), None, GOAL, _shooter())
    assert kicks.kick_rad[0] == pytest.approx(np.radians(3.0))
    assert np.isnan(kicks.kick_rad[1])


def test_a_turret_off_the_robots_centre_turns_by_the_angle_at_its_axis():
    before, after = np.array([2.5, 2.0, 0.0]), np.array([2.5, 2.1, 0.0])
    kick = aim_kicks(_corrections(before, after), None, GOAL, _shooter(x="0.5 m")).kick_rad[0]
    assert kick == pytest.approx(np.arctan2(0.1, 0.5))


@pytest.mark.parametrize(
    ("travel", "expected_deg"),
    [
        (("-200 deg", "200 deg"), 4.0),
        # stops at half a turn: it has to go all the way round
        (("-179.9 deg", "179.9 deg"), 356.0),
        (("-90 deg", "90 deg"), np.nan),
    ],
)
def test_the_way_of_the_turret_stays_inside_its_travel(travel, expected_deg):
    before, after = np.array([1.0, 2.0, np.radians(178.0)]), np.array([1.0, 2.0, np.radians(-178.0)])
    shooter = _shooter(travel_from=travel[0], travel_to=travel[1])
    kick = aim_kicks(_corrections(before, after), None, GOAL, shooter).kick_rad
    np.testing.assert_allclose(np.degrees(kick), [expected_deg], atol=1e-9)


@given(st.floats(-3, 3), st.floats(0, 3), st.floats(0, 4))
def test_turning_the_turret_by_its_angle_points_it_at_the_goal(heading, x, y):
    turret = Turret(x="100 mm", y="-50 mm")
    pose = np.array([x, y, heading])
    angle = aim_angle(pose[np.newaxis], CENTRE, turret)[0] + turret.travel_from
    axis = compose(pose, np.array([0.1, -0.05, angle]))
    line = CENTRE - axis[:2]
    assert np.cos(axis[2]) * line[1] - np.sin(axis[2]) * line[0] == pytest.approx(0.0, abs=1e-9)
    assert np.cos(axis[2]) * line[0] + np.sin(axis[2]) * line[1] >= -1e-9
