"""Simulated runs whose constants are known; `python tests/calibration/recovery.py` tries 200 of each kind."""

import numpy as np
import pytest
from calibration.recovery import RUNS, TRUTH, calibrated_run, errors_in_std
from scipy import stats

_SEEDS = range(301, 306)
_TOO_FEW_TURNS = RUNS[2]


@pytest.fixture(scope="module")
def errors() -> dict[str, np.ndarray]:
    """Errors in standard uncertainties, (5,) per constant, of runs with marks and tags."""
    found = [errors_in_std(calibrated_run(RUNS[0], seed)) for seed in _SEEDS]
    return {name: np.array([one[name] for one in found], dtype=float) for name in TRUTH}


def test_every_constant_is_determined_and_recovered(errors):
    """Among them 0.5 % of a wheel, 2 mm of a lever arm, 1 deg of the camera's yaw and 35 ms of latency."""
    for name, values in errors.items():
        assert np.all(np.isfinite(values)), name
        # what chance leaves once in 10,000
        assert np.mean(values**2) < stats.chi2.ppf(0.9999, len(values)) / len(values), name


def test_intervals_hold_the_truth_as_often_as_they_say(errors):
    every = np.abs(np.concatenate(list(errors.values())))
    # values of one run hang together: as if a third of them were independent
    independent = len(every) // 3
    low, high = stats.binom.ppf([0.001, 0.999], independent, 0.95) / independent
    assert low <= np.mean(every < 1.96) <= high
    assert np.mean(every**2) == pytest.approx(1.0, abs=0.4)


def test_without_turns_lever_arms_are_not_determined():
    for seed in range(401, 404):
        found = calibrated_run(_TOO_FEW_TURNS, seed)
        levers = [one for one in found.estimates if one.constant.name.endswith("lever_arm")]
        assert len(levers) == 3
        assert not any(one.determined or one.shift for one in levers)
