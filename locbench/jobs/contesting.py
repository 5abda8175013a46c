"""Every estimator against dead reckoning, and every fusion against the best other one."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

import numpy as np

from locbench.accuracy import (
    Comparison,
    ErrorNumbers,
    PairedErrors,
    paired_comparisons,
    paired_difference,
    parts_of_the_way,
    summarise,
    summarise_uncorrected,
)
from locbench.arrays import FloatArray, IntArray
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.results import ComparisonRecord
from locbench.shots import Shots
from locbench.statistics import (
    FEWEST_SESSIONS,
    UncertainNumber,
    effective_sample_size,
    root_mean_square,
    root_mean_square_of_sessions,
)

__all__ = ["compare_estimators"]

Measure = Literal["position_rms_m", "heading_rms_rad", "miss_rms_m"]

_BASE = "dead_reckoning"


def compare_estimators(runs: Sequence[SessionRun]) -> list[ComparisonRecord]:
    """Return the comparisons over all sessions, and of each one if there are several.

    Only estimators with a reference can be compared, so a log without marks or truth gives none.
    """
    records = list(_compared(runs, None))
    if len(runs) > 1:
        records += [record for run in runs for record in _compared([run], run.session.name)]
    return records


def _compared(runs: Sequence[SessionRun], session: str | None) -> Iterator[ComparisonRecord]:
    for ours, theirs in _pairs(runs):
        both = [run for run in runs if ours in run.estimators and theirs in run.estimators]
        yield from _measures(both, ours, theirs, session)


def _pairs(runs: Sequence[SessionRun]) -> list[tuple[str, str]]:
    """Return who is compared with whom: all with dead reckoning, fusions with the best of the others."""
    names = dict.fromkeys(name for run in runs for name in run.estimators)
    errors: Mapping[str, float] = {name: error for name in names if (error := _pooled_error(runs, name)) is not None}
    against_base = [(name, _BASE) for name in errors if name != _BASE and _BASE in errors]
    fusions = [name for name in errors if any(name in run.fusions for run in runs)]
    ranked = sorted(fusions, key=lambda name: errors[name])
    rivals = [(name, ranked[1] if name == ranked[0] else ranked[0]) for name in fusions] if len(ranked) > 1 else []
    return against_base + rivals


def _pooled_error(runs: Sequence[SessionRun], name: str) -> float | None:
    found = [_reference(run.estimators[name]) for run in runs if name in run.estimators]
    parts = [comparison.error[comparison.covered, :2] for comparison in found if comparison is not None]
    errors = np.concatenate(parts) if parts else np.zeros((0, 2))
    return float(np.sqrt(np.mean(np.sum(errors**2, axis=1)))) if len(errors) else None


def _reference(estimator: EstimatorRun) -> Comparison | None:
    """Return the comparison along the dense truth, or else at the marks."""
    return estimator.marks if estimator.truth is None else estimator.truth


def _measures(runs: Sequence[SessionRun], ours: str, theirs: str, session: str | None) -> Iterator[ComparisonRecord]:
    pairs = [pair for run in runs if (pair := _paired(run, ours, theirs)) is not None]
    if not pairs:
        return

    def record(
        measure: Measure, paired: Sequence[PairedErrors], first: UncertainNumber, second: UncertainNumber
    ) -> ComparisonRecord:
        found = paired_difference(paired, first, second)
        return ComparisonRecord(session=session, estimator=ours, against=theirs, measure=measure, **vars(found))

    alone = [all(run.estimators[name].uncorrected for run in runs) for name in (ours, theirs)]
    first, second = _numbers([a for a, _, _ in pairs], alone[0]), _numbers([b for _, b, _ in pairs], alone[1])
    positions = [PairedErrors(a.error[:, :2], b.error[:, :2], part) for a, b, part in pairs]
    yield record("position_rms_m", positions, first.position_rms_m, second.position_rms_m)
    headings = [_headings(*pair) for pair in pairs]
    if any(len(pair) for pair in headings):
        yield record("heading_rms_rad", headings, first.heading_rms_rad, second.heading_rms_rad)
    misses = [_misses(run, ours, theirs) for run in runs]
    if any(len(pair) for pair in misses):
        sizes = (
            _miss([(pair.ours, pair.part) for pair in misses], alone[0]),
            _miss([(pair.theirs, pair.part) for pair in misses], alone[1]),
        )
        yield record("miss_rms_m", misses, *sizes)


def _numbers(comparisons: Sequence[Comparison], uncorrected: bool) -> ErrorNumbers:
    return summarise_uncorrected(comparisons) if uncorrected else summarise(comparisons)


def _paired(run: SessionRun, ours: str, theirs: str) -> tuple[Comparison, Comparison, IntArray] | None:
    first, second = _reference(run.estimators[ours]), _reference(run.estimators[theirs])
    if first is None or second is None or not len(first):
        return None
    marks = run.session.marks
    visits = np.zeros(0) if marks is None else (marks.begin_s + marks.end_s) / 2.0
    along_truth = run.estimators[ours].truth is not None
    # against marks each visit ends the way from the one before
    part = parts_of_the_way(first, visits) if along_truth else np.arange(len(first))
    found = paired_comparisons(first, second, part)
    return found if len(found[0]) else None


def _headings(ours: Comparison, theirs: Comparison, part: IntArray) -> PairedErrors:
    known = np.isfinite(ours.error[:, 2]) & np.isfinite(theirs.error[:, 2])
    return PairedErrors(ours.error[known, 2:], theirs.error[known, 2:], part[known])


def _misses(run: SessionRun, ours: str, theirs: str) -> PairedErrors:
    """Return the landing points of both from the same places, all goals together; a place is a part of the way."""
    found = [
        (_aimed(a), _aimed(b))
        for a in run.estimators[ours].shots
        for b in run.estimators[theirs].shots
        if a.goal == b.goal
    ]
    first, second, places = [np.zeros((0, 2))], [np.zeros((0, 2))], [np.zeros(0, dtype=np.int64)]
    for a, b in found:
        place, rows_a, rows_b = np.intersect1d(a[0], b[0], return_indices=True)
        first.append(a[1][rows_a])
        second.append(b[1][rows_b])
        places.append(place)
    order = np.argsort(np.concatenate(places), kind="stable")
    return PairedErrors(np.concatenate(first)[order], np.concatenate(second)[order], np.concatenate(places)[order])


def _aimed(shots: Shots) -> tuple[IntArray, FloatArray]:
    return shots.place[shots.aimable], shots.offset[shots.aimable]


def _miss(parts: Sequence[tuple[FloatArray, IntArray]], uncorrected: bool) -> UncertainNumber:
    filled = [(offsets, place) for offsets, place in parts if len(offsets)]
    every = [offsets for offsets, _ in filled]
    if len(filled) >= FEWEST_SESSIONS:
        return root_mean_square_of_sessions(every)
    most = len(filled) if uncorrected else np.inf
    independent = min(sum(_independent_places(offsets, place) for offsets, place in filled), most)
    return root_mean_square(np.concatenate(every), independent)


def _independent_places(offsets: FloatArray, place: IntArray) -> float:
    """Return how many independent places shots (K, 2), in order of place, are worth.

    Shots at several goals from one place share its error, so they stand side by side as one observation.
    """
    _, row, count = np.unique(place, return_inverse=True, return_counts=True)
    first = np.cumsum(count) - count
    table = np.zeros((len(count), int(np.max(count)), 2))
    table[row, np.arange(len(place)) - first[row]] = offsets
    return effective_sample_size(table.reshape(len(count), -1))
