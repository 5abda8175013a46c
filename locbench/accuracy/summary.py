"""The one-number summaries of a comparison."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import FloatArray
from locbench.statistics import (
    FEWEST_SESSIONS,
    NORMAL_95,
    UncertainNumber,
    circular_error_probable,
    effective_sample_size,
    largest,
    mean_of_sessions,
    mean_with_interval,
    measured,
    radius95,
    root_mean_square,
    root_mean_square_of_sessions,
    unavailable,
)

__all__ = ["ErrorNumbers", "summarise", "summarise_uncorrected"]


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


def _independent(run: Comparison) -> tuple[float, float]:
    """Return how many independent position and heading errors a run holds.

    A heading error that lasts makes position errors that swing as the robot drives about: they look more independent
    than they are. So positions count for no more than headings do.
    """
    positions = effective_sample_size(run.error[run.covered, :2])
    errors = run.error[run.covered & np.isfinite(run.error[:, 2]), 2]
    headings = effective_sample_size(errors)
    return min(positions, headings) if len(errors) else positions, headings


def summarise_uncorrected(runs: Sequence[Comparison]) -> ErrorNumbers:
    """Return the numbers of an estimator that nothing corrects: its errors pile up, so a run is one observation."""
    return _summarised(runs, float(len(runs)), float(len(runs)))


def summarise(runs: Sequence[Comparison]) -> ErrorNumbers:
    """Return the numbers of one run, or of several taken together.

    Parameters
    ----------
    runs
        One comparison per session, each in order of time; at least one. From six on the session is the unit of
        resampling, because sessions differ by more than the errors inside one can tell.
    """
    # errors of different runs are independent
    counts = [_independent(run) for run in runs]
    return _summarised(runs, sum(positions for positions, _ in counts), sum(headings for _, headings in counts))


def _summarised(runs: Sequence[Comparison], independent: float, independent_headings: float) -> ErrorNumbers:
    positions = [run.error[run.covered, :2] for run in runs]
    headings = [run.error[run.covered & np.isfinite(run.error[:, 2]), 2] for run in runs]
    total = sum(len(run) for run in runs)
    error, heading = np.concatenate(positions), np.concatenate(headings)
    radii = np.linalg.norm(error, axis=1)
    sessions = sum(len(part) > 0 for part in positions)
    enough = sessions >= FEWEST_SESSIONS
    return ErrorNumbers(
        count=len(error),
        coverage=len(error) / total if total else 0.0,
        position_rms_m=_root_mean_square(positions, independent, _mean_variance(runs, slice(0, 2))),
        position_mean_m=(
            mean_of_sessions([np.linalg.norm(part, axis=1) for part in positions if len(part)])
            if enough
            else mean_with_interval(radii, independent)
        ),
        position_cep50_m=circular_error_probable(radii, min(independent, sessions) if enough else independent),
        position_r95_m=radius95(radii, independent, sessions if enough else None),
        position_max_m=largest(radii),
        position_last_m=_last(runs[-1]),
        heading_rms_rad=(
            _root_mean_square(headings, independent_headings, _mean_variance(runs, slice(2, 3)))
            if len(heading)
            else unavailable("neither marks nor truth carry a heading here, or the estimator has none")
        ),
        heading_max_rad=largest(np.abs(heading)),
    )


def _root_mean_square(parts: Sequence[FloatArray], independent: float, reference_variance: float) -> UncertainNumber:
    """Return the root mean square of errors, one part per session."""
    filled = [part for part in parts if len(part)]
    if len(filled) >= FEWEST_SESSIONS:
        return root_mean_square_of_sessions(filled, reference_variance)
    return root_mean_square(np.concatenate(parts), independent, reference_variance)


def _mean_variance(runs: Sequence[Comparison], components: slice) -> float:
    diagonals = np.concatenate([np.diagonal(run.reference_covariance, axis1=1, axis2=2) for run in runs])
    sums = np.sum(diagonals[:, components], axis=1)
    known = sums[np.isfinite(sums)]
    return float(np.mean(known)) if len(known) else 0.0


def _last(run: Comparison) -> UncertainNumber:
    method = "error at the last comparison; interval from the reference's own uncertainty"
    covered = np.flatnonzero(run.covered)
    if not len(covered):
        return unavailable("the estimator had no pose at any reference", method=method)
    last = covered[-1]
    size = float(np.linalg.norm(run.error[last, :2]))
    half = NORMAL_95 * float(np.sqrt(run.reference_covariance[last, 0, 0]))
    return measured(size, (max(0.0, size - half), size + half), 1, method)
