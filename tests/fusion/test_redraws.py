import numpy as np
import pytest
from builders import START, detections, doubtful, field, fusion, motion, range_detections, sightings
from naive import naive_error_weights

from locbench.config import MotionNoise
from locbench.fusion import dead_reckoning, fuse, redrawn_errors, sample_track
from locbench.odometry import dead_reckon

NOISE = MotionNoise(doubted_factor=4.0)
DRIVE = doubtful(motion())
TRUTH = dead_reckon(DRIVE, START.pose)
TAGS = {tag.id: (tag.x, tag.y, tag.z, tag.facing) for tag in field().tags}
DRAWS = 4000
CASES = {
    "kalman": {},
    "position_only": {"correction": {"use_heading": False}},
    "no_gate": {"trust": {}},
    "replace": {"correction": {"mode": "replace"}},
    "replace_position": {"correction": {"mode": "replace", "use_heading": False}},
    "fixed_gain": {"correction": {"mode": "fixed_gain"}},
    "none": {"correction": {"mode": "none"}},
    "ignore_latency": {"latency": {"mode": "ignore"}},
    "unscented": {"engine": "unscented"},
}


def _assert_spread(errors, covariance):
    """The draws' covariance agrees within 4.5 standard errors of a covariance of so many Gaussian draws."""
    found = np.einsum("tdi,tdj->tij", errors, errors) / errors.shape[1]
    variance = np.einsum("tii->ti", covariance)
    allowed = np.sqrt((covariance**2 + variance[:, :, None] * variance[:, None, :]) / errors.shape[1])
    assert np.max(np.abs(found - covariance) / allowed) < 4.5


@pytest.mark.parametrize("case", CASES)
def test_the_draws_spread_as_the_estimator_claims(case):
    config = fusion(**CASES[case])
    estimate = fuse(DRIVE, START, sightings(detections(DRIVE, TRUTH), config), config, NOISE)
    times = np.linspace(DRIVE.time_s[0], DRIVE.time_s[-1], 23)
    errors = redrawn_errors(estimate, DRIVE, times, DRAWS)
    assert errors.shape == (23, DRAWS, 3)
    _assert_spread(errors, sample_track(estimate.track, DRIVE, NOISE, times).covariance)


def test_dead_reckoning_too():
    estimate = dead_reckoning(DRIVE, START, NOISE)
    times = np.linspace(DRIVE.time_s[0], DRIVE.time_s[-1], 15)
    _assert_spread(
        redrawn_errors(estimate, DRIVE, times, DRAWS), sample_track(estimate.track, DRIVE, NOISE, times).covariance
    )


@pytest.mark.parametrize(
    ("case", "log"),
    [
        ("kalman", detections),
        ("replace", detections),
        ("fixed_gain", detections),
        ("ignore_latency", detections),
        ("kalman", range_detections),
    ],
)
def test_draws_at_two_times_hang_together_as_starting_over_each_time_says(case, log):
    """Late, out-of-order detections rewrite history; covariances between times come from the slow twin."""
    drive = doubtful(motion(rows=22))
    truth = dead_reckon(drive, START.pose)
    config = fusion(**CASES[case])
    found = sightings(log(drive, truth, count=10), config)
    estimate = fuse(drive, START, found, config, NOISE)
    corrections = estimate.corrections
    rows = set(corrections.row[corrections.accepted].tolist())
    accepted = [i for i in range(len(found)) if int(found.detections.row[i]) in rows]
    assert len(accepted) >= 5
    assert len(estimate.steps) > len(accepted) or case == "ignore_latency"
    times = np.linspace(drive.time_s[0] + 0.2, drive.time_s[-1], 4)
    weights = naive_error_weights(drive, START, found, config, NOISE, TAGS, accepted, times)
    errors = redrawn_errors(estimate, drive, times, DRAWS)
    scale = [np.sqrt(np.diag(a @ a.T)) for a in weights]
    for first, a in enumerate(weights):
        for second, b in enumerate(weights):
            spread = np.einsum("di,dj->ij", errors[first], errors[second]) / DRAWS
            correlation = (spread - a @ b.T) / np.outer(scale[first], scale[second])
            assert np.max(np.abs(correlation)) < 4.5 * np.sqrt(2.0 / DRAWS)


def test_the_same_run_gives_the_same_draws():
    config = fusion()
    estimate = fuse(DRIVE, START, sightings(detections(DRIVE, TRUTH), config), config, NOISE)
    times = DRIVE.time_s[10::7]
    first = redrawn_errors(estimate, DRIVE, times)
    np.testing.assert_array_equal(first, redrawn_errors(estimate, DRIVE, times))
