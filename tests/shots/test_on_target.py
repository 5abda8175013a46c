import math

import numpy as np
import pytest
from builders import comparison, field

from locbench.config import ShooterConfig
from locbench.shots import time_on_target

BIN = {"name": "east bin", "x": "3.5 m", "y": "2 m", "height": "0.7 m"}
GOAL = field(goals=[{**BIN, "opening": {"kind": "horizontal", "radius": "200 mm"}}]).goals[0]
PLACE = np.array([1.0, 2.0, 0.0])


def _shooter(**more):
    projectile = {"diameter": "70 mm"}
    return ShooterConfig.model_validate({"name": "s", "entry_angle": "89 deg", "projectile": projectile, **more})


def _share(errors_m, stds=(0.0, 0.0), **more):
    """Believed to stand that far to the left: the shot goes that far to the right."""
    errors = np.zeros((len(errors_m), 3))
    errors[:, 1] = errors_m
    reference = np.tile(PLACE, (len(errors_m), 1))
    return time_on_target(comparison(reference + errors, reference, stds), GOAL, _shooter(**more))


def test_the_share_counts_clean_entries():
    # the rim leaves the centre 200 - 35 mm
    rng = np.random.default_rng(1)
    errors = rng.permutation(np.repeat([0.1, -0.1, 0.2, -0.2], [45, 45, 5, 5]))
    share = _share(errors)
    assert share.value == pytest.approx(0.9)
    assert share.ci95[0] < 0.9 < share.ci95[1]
    assert share.n == 100


def test_a_reference_that_is_not_sure_enough_widens_the_interval():
    rng = np.random.default_rng(1)
    errors = rng.permutation(np.repeat([0.05, -0.05, 0.15, -0.15], [25, 25, 25, 25]))
    sure, unsure = _share(errors), _share(errors, (0.010, 0.0))
    assert sure.value == unsure.value == 1.0
    assert sure.ci95[0] > 0.9
    assert unsure.ci95[0] < 0.5


def test_an_unsure_heading_counts_by_the_distance():
    errors = np.tile([0.05, -0.05], 50)
    assert _share(errors, (0.0, np.radians(1.0))).ci95[0] > 0.9
    assert _share(errors, (0.0, np.radians(4.0))).ci95[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("count", [6, 8, 12, 20])
def test_the_interval_covers(count):
    """1,000 runs of independent times: at least 0.92 of the intervals hold the true share."""
    rng = np.random.default_rng(count)
    clean_m = 0.2 - 0.035
    held = []
    for spread in (0.06, 0.1, 0.16):
        # the share of a Gaussian within the clean part of the rim, across which the shots are spread
        truth = math.erf(clean_m / spread / math.sqrt(2.0))
        for _ in range(334):
            low, high = _share(spread * rng.normal(size=count)).ci95
            held.append(low <= truth <= high)
    assert np.mean(held) >= 0.92


def test_where_nothing_corrects_the_belief_a_run_is_one_observation():
    reference = np.tile(PLACE, (50, 1))
    share = time_on_target(comparison(reference, reference), GOAL, _shooter(), 1.0)
    assert (share.value, share.independent) == (1.0, 1.0)
    assert share.ci95[0] < 0.1


def test_times_without_a_pose_do_not_count():
    reference = np.tile(PLACE, (40, 1))
    believed = reference.copy()
    believed[:10] = np.nan
    reference[30:] = np.nan
    assert time_on_target(comparison(believed, reference), GOAL, _shooter()).n == 20


def test_without_a_launcher_or_out_of_its_travel_there_is_no_share():
    reference = np.tile(PLACE, (10, 1))
    assert "shooter" in time_on_target(comparison(reference, reference), GOAL, None).why
    back = _shooter(turret={"travel_from": "100 deg", "travel_to": "260 deg"})
    assert time_on_target(comparison(reference, reference), GOAL, back).value is None
