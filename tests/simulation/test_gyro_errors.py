import math

import numpy as np
import pytest

from locbench.config.scenario import GyroErrors
from locbench.simulation.gyro import gyro_heading
from locbench.simulation.losses import Loss

ROWS_S = np.arange(0.0, 10.0001, 0.01)


def _read(motion, errors=None, losses=(), seed=0, rows=ROWS_S):
    return gyro_heading(motion, errors or GyroErrors(), losses, rows, np.random.default_rng(seed))


def test_without_errors_the_turn_since_the_start_is_logged(screw):
    heading = _read(screw((1.0, 1.0, 2.5), 0.3, 0.1, -1.7))
    np.testing.assert_allclose(heading, -1.7 * ROWS_S, atol=1e-9)


def test_bias_and_scale_error_add_to_the_turn(screw):
    errors = GyroErrors.model_validate({"bias": "0.5 deg/s", "scale_error": "-1 %"})
    heading = _read(screw((0.0, 0.0, 0.0), 0.0, 0.0, 1.2), errors)
    np.testing.assert_allclose(heading, (0.99 * 1.2 + math.radians(0.5)) * ROWS_S, atol=1e-9)


def test_a_lagging_gyro_reads_what_was(screw):
    heading = _read(screw((0.0, 0.0, 0.0), 0.0, 0.0, 2.0), GyroErrors.model_validate({"lag": "25 ms"}))
    np.testing.assert_allclose(heading, np.maximum(2.0 * (ROWS_S - 0.025), 0.0), atol=1e-9)


def test_a_loss_takes_its_share_of_the_turn(screw):
    heading = _read(screw((0.0, 0.0, 0.0), 0.0, 0.0, 2.0), losses=(Loss(3.0, 3.5, 0.4),))
    assert heading[-1] == pytest.approx(2.0 * 10.0 - 0.4 * 2.0 * 0.5, abs=1e-9)


def test_the_random_walk_has_the_stated_spread_after_a_minute(screw):
    errors = GyroErrors.model_validate({"heading_per_minute": "2 deg"})
    still = screw((0.0, 0.0, 0.0), 0.0, 0.0, 0.0)
    runs = 400
    walks = np.array([_read(still, errors, seed=seed, rows=np.arange(0.0, 60.01, 0.25)) for seed in range(runs)])
    bound = 6.0 / math.sqrt(2.0 * runs)
    assert np.std(walks[:, -1]) == pytest.approx(math.radians(2.0), rel=bound)
    assert np.std(walks[:, 60]) == pytest.approx(math.radians(1.0), rel=bound)
