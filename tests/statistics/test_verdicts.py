import numpy as np
import pytest

from locbench.statistics import CorrectionVerdict, judge_corrections

EXACT = np.zeros((1, 2, 2))


def _judge(before, after, reference, covariance=EXACT):
    arrays = [np.array([value], dtype=float) for value in (before, after, reference)]
    return judge_corrections(*arrays, covariance)[0]


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        ((0.3, 0, 0), (0.1, 0, 0), CorrectionVerdict.HELPED),
        ((0.1, 0, 0), (0.3, 0, 0), CorrectionVerdict.HURT),
        ((0.3, 0, 0), (0.299, 0, 0), CorrectionVerdict.NEUTRAL),
        ((0.3, 0, 0), (0.299, 0, 0.01), CorrectionVerdict.HELPED),
        ((0.2, 0, 0), (-0.2, 0, 0), CorrectionVerdict.UNDECIDED),
    ],
)
def test_against_an_exact_reference_the_closer_pose_decides(before, after, verdict):
    assert _judge(before, after, (0, 0, 0)) is verdict


def test_without_a_reference_nothing_is_decided():
    assert _judge((0.3, 0, 0), (0.1, 0, 0), (np.nan, np.nan, np.nan)) is CorrectionVerdict.UNDECIDED


def test_the_verdict_is_the_probability_of_being_closer():
    """Drawing the reference: a verdict stands exactly where 97.5 % of the draws agree."""
    rng = np.random.default_rng(8)
    covariance = np.array([[4e-4, 1e-4], [1e-4, 2e-4]])
    for _ in range(60):
        before, after = rng.normal(scale=0.05, size=(2, 3))
        draws = rng.multivariate_normal([0.0, 0.0], covariance, size=20_000)
        closer = np.mean(np.linalg.norm(draws - after[:2], axis=1) < np.linalg.norm(draws - before[:2], axis=1))
        verdict = _judge(before, after, np.zeros(3), covariance[np.newaxis])
        if verdict is CorrectionVerdict.HELPED:
            assert closer > 0.97
        elif verdict is CorrectionVerdict.HURT:
            assert closer < 0.03
        elif verdict is CorrectionVerdict.UNDECIDED:
            assert 0.02 < closer < 0.98


def test_far_from_the_origin_no_digits_are_lost():
    far = np.array([1e6, -1e6, 0.0])
    before, after = far + np.array([0.02, 0, 0]), far + np.array([0.01, 0, 0])
    assert _judge(before, after, far) is CorrectionVerdict.HELPED
