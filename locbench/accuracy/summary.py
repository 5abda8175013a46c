"""The one-number summaries of a comparison."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import FloatArray
from locbench.statistics import (
    NORMAL_95,
    UncertainNumber,
    circular_error_probable,
    effective_sample_size,
    largest,
    mean_with_interval,
    measured,
    radius95,
    root_mean_square,
    unavailable,
)

__all__ = ["ErrorNumbers", "independent_count", "summarise"]


@dataclass(frozen=True)
class ErrorNumbers:
    """Position and heading errors in numbers; see `results.ErrorSummary`."""

    count: int
    coverage: float
    position_rms_m: UncertainNumber
    position_mean_m: UncertainNumber
    position_cep50_m: UncertainNumber
    position_r95_m: UncertainNumber
    position_max_m: UncertainNumber
    position_last_m: UncertainNumber
    heading_rms_rad: UncertainNumber
    heading_max_rad: UncertainNumber


def independent_count(runs: Sequence[Comparison]) -> float:
    """Return how many independent position errors several runs hold; errors of different runs are independent.

    A heading error that lasts makes position errors that swing as the robot drives about: they look more independent
    than they are. So each run counts for no more than its heading errors do.
    """
    return sum(_independent_in(run) for run in runs)


def _independent_in(run: Comparison) -> float:
    positions = effective_sample_size(run.error[run.covered, :2])
    headings = run.error[run.covered & np.isfinite(run.error[:, 2]), 2]
    return min(positions, effective_sample_size(headings)) if len(headings) else positions


def summarise(runs: Sequence[Comparison]) -> ErrorNumbers:
    """Return the numbers of one run, or of several taken together.

    Parameters
    ----------
    runs
        One comparison per session, each in order of time; at least one.
    """
    error = np.concatenate([run.error[run.covered] for run in runs])
    total = sum(len(run) for run in runs)
    independent = independent_count(runs)
    radii = np.linalg.norm(error[:, :2], axis=1)
    headings = [run.error[run.covered & np.isfinite(run.error[:, 2]), 2] for run in runs]
    heading = np.concatenate(headings)
    independent_headings = sum(effective_sample_size(part) for part in headings)
    return ErrorNumbers(
        count=len(error),
        coverage=len(error) / total if total else 0.0,
        position_rms_m=root_mean_square(error[:, :2], independent, _mean_variance(runs, slice(0, 2))),
        position_mean_m=mean_with_interval(radii, independent),
        position_cep50_m=circular_error_probable(radii, independent),
        position_r95_m=radius95(radii, independent),
        position_max_m=largest(radii),
        position_last_m=_last(runs[-1]),
        heading_rms_rad=_heading_rms(heading, independent_headings, runs),
        heading_max_rad=largest(np.abs(heading)),
    )


def _mean_variance(runs: Sequence[Comparison], components: slice) -> float:
    diagonals = np.concatenate([np.diagonal(run.reference_covariance, axis1=1, axis2=2) for run in runs])
    return float(np.mean(np.sum(diagonals[:, components], axis=1))) if len(diagonals) else 0.0


def _heading_rms(heading: FloatArray, independent: float, runs: Sequence[Comparison]) -> UncertainNumber:
    if not len(heading):
        return unavailable("neither marks nor truth carry a heading here, or the estimator has none")
    variance = _mean_variance(runs, slice(2, 3))
    return root_mean_square(heading, independent, variance if np.isfinite(variance) else 0.0)


def _last(run: Comparison) -> UncertainNumber:
    method = "error at the last comparison; interval from the reference's own uncertainty"
    covered = np.flatnonzero(run.covered)
    if not len(covered):
        return unavailable("the estimator had no pose at any reference", method=method)
    last = covered[-1]
    size = float(np.linalg.norm(run.error[last, :2]))
    half = NORMAL_95 * float(np.sqrt(run.reference_covariance[last, 0, 0]))
    return measured(size, (max(0.0, size - half), size + half), 1, method)
