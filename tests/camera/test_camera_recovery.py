"""Cameras with known faults; `python tests/camera/recovery.py` tries 60 runs each with truth and with marks alone."""

import numpy as np
import pytest
from camera.recovery import ASIDE, TRUTH, errors_in_std, studied
from scipy import stats

_SEEDS = range(201, 204)


@pytest.mark.parametrize("truth", [True, False], ids=["truth", "marks"])
def test_known_faults_are_recovered(truth):
    """Among them 35 ms of latency, 1 deg of yaw, and a tag 30 mm aside and turned by 2 deg."""
    studies = [studied(seed, truth) for seed in _SEEDS]
    _recovers(studies)
    for study in studies:
        assert [tag for tag, one in study.record.tags.items() if one.hangs_wrong] == [str(ASIDE)]
        keys = {edit.key for changed in study.changed_files for edit in changed.edits}
        assert {"cameras.front.yaw", "tags.offset", f"tags[{ASIDE}].y", f"tags[{ASIDE}].facing"} <= keys
        assert study.record.outlier_share.value < 0.02
        # the noise that was simulated is white
        assert all(one.ci95[0] < 0.05 for one in study.record.slow.values())
    # 0.6 % of flips were simulated; so few runs hold some 12 of them each
    assert 0.002 < np.mean([study.record.flip_share.value for study in studies]) < 0.012


def _recovers(studies):
    errors = [errors_in_std(study) for study in studies]
    for name in TRUTH:
        told = np.array([one[name] for one in errors if name in one])
        assert len(told) >= 2, name
        # what chance leaves once in 10,000
        assert np.mean(told**2) < stats.chi2.ppf(0.9999, len(told)) / len(told), name
