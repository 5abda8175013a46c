"""The parts of a camera study, each against something known."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from locbench.camera.components import Component
from locbench.camera.flips import flipped
from locbench.camera.whiteness import correlation_time, slow_share
from locbench.session import TagKind


@given(share=st.sampled_from([0.0, 0.2, 0.5, 0.8]), seed=st.integers(0, 1000))
@settings(max_examples=20)
def test_the_share_that_stays_all_through_a_pass(share, seed):
    """One-way random effects: the interval is exact for equal passes, so it misses once in twenty."""
    rng = np.random.default_rng(seed)
    passed = np.repeat(np.arange(60), 12)
    values = np.sqrt(share) * rng.standard_normal(60)[passed] + np.sqrt(1.0 - share) * rng.standard_normal(720)
    found = slow_share(values, passed, 0.0)
    assert found.passes == 60
    # six standard errors of the share, roughly
    assert found.value == pytest.approx(share, abs=0.25)
    assert found.low <= found.value <= found.high


def test_the_interval_of_the_slow_share_holds_the_truth():
    rng = np.random.default_rng(5)
    passed = np.repeat(np.arange(20), 8)
    held = 0
    for _ in range(1000):
        values = np.sqrt(0.4) * rng.standard_normal(20)[passed] + np.sqrt(0.6) * rng.standard_normal(160)
        found = slow_share(values, passed, 0.0)
        held += found.low <= 0.4 <= found.high
    assert held >= 920


def test_what_the_reference_errs_by_is_not_the_cameras():
    """Of the variance 0.3 are the reference's and stay; of what is left, 0.2 / 0.7 are the camera's and stay."""
    rng = np.random.default_rng(9)
    passed = np.repeat(np.arange(400), 10)
    values = np.sqrt(0.5) * rng.standard_normal(400)[passed] + np.sqrt(0.5) * rng.standard_normal(4000)
    found = slow_share(values, passed, 0.3)
    assert found.value == pytest.approx(0.2 / 0.7, abs=0.06)
    assert found.low < 0.2 / 0.7 < found.high
    # it holds even if the reference does not err alike
    assert found.high > 0.5 / 0.7


def test_a_reference_that_keeps_through_a_pass_alone_is_nothing_slow():
    rng = np.random.default_rng(10)
    passed = np.repeat(np.arange(100), 10)
    values = np.sqrt(0.3) * rng.standard_normal(100)[passed] + np.sqrt(0.7) * rng.standard_normal(1000)
    assert slow_share(values, passed, 0.3).low == 0.0


def test_too_few_passes_say_nothing():
    assert slow_share(np.ones(10), np.zeros(10, dtype=int), 0.0) is None


def test_white_errors_stay_alike_for_no_time():
    rng = np.random.default_rng(6)
    assert correlation_time(rng.standard_normal(2000), 0.1 * np.arange(2000), np.zeros(2000, dtype=int)) == 0.0


def test_errors_that_fade_do_so_in_their_time():
    """First-order autoregression with a time of 0.5 s, seen every 0.1 s."""
    rng = np.random.default_rng(7)
    keep = np.exp(-0.1 / 0.5)
    values = np.zeros(5000)
    for k in range(1, 5000):
        values[k] = keep * values[k - 1] + np.sqrt(1.0 - keep**2) * rng.standard_normal()
    found = correlation_time(values, 0.1 * np.arange(5000), np.zeros(5000, dtype=int))
    assert found == pytest.approx(0.5, rel=0.15)


def test_errors_that_do_not_scatter_have_no_slow_share():
    passed = np.repeat(np.arange(5), 8)
    assert slow_share(passed.astype(float), passed, 0.0) is None
    assert correlation_time(np.zeros(40), np.arange(40.0), np.zeros(40, dtype=int)) is None


@pytest.mark.parametrize(("kind", "sense"), [(TagKind.ROBOT_POSE, -1.0), (TagKind.TAG_POSE, 1.0)])
def test_a_flip_turns_headings_in_one_sense_only(kind, sense):
    """The camera sees the tag turned by twice the view angle; a robot that trusts that is turned the other way."""
    view = np.radians([20.0, 40.0, -30.0, 20.0, 1.0])
    residual = np.zeros((5, 3))
    residual[:, 2] = 2.0 * sense * view
    # the fourth one is turned in the wrong sense, and the fifth is seen face on
    residual[3, 2] *= -1.0
    seen = SimpleNamespace(
        components=(Component.ALONG, Component.ACROSS, Component.HEADING),
        detections=SimpleNamespace(kind=kind),
        signed_view_rad=view,
    )
    found = flipped(seen, residual, np.full((5, 3), 0.02), np.ones(5))
    assert found.tolist() == [True, True, True, False, False]
