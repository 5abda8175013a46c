"""Honest and dishonest filters told apart on simulated runs whose noise is exactly known."""

import numpy as np
import pytest
from body_runs import FILTER, body_run, kalman

from locbench.accuracy import redrawn_mean_errors_squared
from locbench.accuracy.consistency import mean_normalised_error_squared, normalised_errors_squared
from locbench.jobs.consistency import consistency, pooled_consistency
from locbench.statistics import RemarkCode, band_of_draws, chi_square_mean_band

RUNS = 80
ESTIMATORS = (FILTER, "dead_reckoning")
# every tag a few centimetres beside its place in the field file
CROOKED = {
    "tags": (
        {"id": 1, "dy": "50 mm"},
        {"id": 2, "dy": "-60 mm"},
        {"id": 3, "dx": "50 mm"},
        {"id": 4, "dx": "-50 mm"},
    )
}


def _twice_a_second(comparison):
    return comparison.chosen(np.arange(0, len(comparison), 10))


def _assert_expected(means, components, expected=1.0):
    """Session means lie within four standard errors of their mean."""
    error = np.std(means, ddof=1) / np.sqrt(len(means))
    assert abs(np.mean(means) - expected) < 4.0 * error
    # and that error is what independent runs of so many components have: the test can fail
    assert error < 1.6 * np.sqrt(2.0 / (components * len(means)))


def test_honest_estimators_are_found_honest():
    """Over 80 runs: NEES at one place per run, bands from re-draws of each run, and remarks."""
    single, held, naive, remarks = ({name: [] for name in ESTIMATORS} for _ in range(4))
    runs = [body_run(seed) for seed in range(RUNS)]
    for number, run in enumerate(runs):
        for name in ESTIMATORS:
            estimator = run.estimators[name]
            squared, size = normalised_errors_squared(estimator.places)
            single[name].append(squared[-1] / size[-1])
            if number % 2:
                continue
            spaced = _twice_a_second(estimator.truth)
            mean = mean_normalised_error_squared(spaced).value
            draws = redrawn_mean_errors_squared(estimator.estimates, run.motions, spaced, spaced.time_s)
            low, high = band_of_draws(draws)
            held[name].append(low <= mean <= high)
            low, high = chi_square_mean_band(1.0, 3.0 * len(spaced))
            naive[name].append(low <= mean <= high)
            remarks[name].append(bool(consistency(run, name).remarks))
    for name in ESTIMATORS:
        _assert_expected(single[name], 3)
        assert np.mean(held[name]) >= 0.90
        assert np.mean(naive[name]) < 0.80
        assert np.mean(remarks[name]) <= 0.05
    pooled = pooled_consistency([run.estimators[FILTER] for run in runs[:40]])
    assert pooled.nees_mean.n == 40
    assert pooled.nees_band95[0] <= pooled.nees_mean.value <= pooled.nees_band95[1]
    few = pooled_consistency([run.estimators[FILTER] for run in runs[:5]])
    assert few.nees_band95 is None
    assert "fewer than 6 sessions" in few.why["nees_band95"]


@pytest.mark.parametrize(
    ("factor", "errors", "codes"),
    [
        (0.5, 10.0, {RemarkCode.ERRORS_LARGER, RemarkCode.FIXES_FURTHER}),
        (2.0, -5.0, {RemarkCode.ERRORS_SMALLER, RemarkCode.FIXES_CLOSER}),
    ],
)
def test_a_filter_with_half_or_twice_the_noise_is_found_out(factor, errors, codes):
    means, found = [], []
    for seed in range(25):
        run = body_run(seed, kalman(factor, factor))
        squared, size = normalised_errors_squared(run.estimators[FILTER].places)
        means += (squared / size).tolist()
        found.append({remark.code for remark in consistency(run, FILTER).remarks})
    # at two places of each run, of three components
    standard_error = np.sqrt(2.0 / (3 * len(means)))
    assert (np.mean(means) - 1.0) / errors > standard_error
    assert np.mean([bool(codes & one) for one in found]) > 0.9
    assert np.mean([RemarkCode.FIXES_HANG_TOGETHER in one for one in found]) <= 0.05


def test_tags_beside_their_places_make_fixes_hang_together():
    found = [{r.code for r in consistency(body_run(s, truth=CROOKED), FILTER).remarks} for s in range(10)]
    assert np.mean([RemarkCode.FIXES_HANG_TOGETHER in one for one in found]) >= 0.9
