"""How well marks were found again, by every estimator and over all sessions."""

from collections.abc import Sequence

import numpy as np

from locbench.accuracy import biased_marks, repeatability_at_marks
from locbench.jobs.replaying import SessionRun
from locbench.results import AtMark, MarkInDoubt

__all__ = ["at_marks"]


def at_marks(runs: Sequence[SessionRun]) -> tuple[list[AtMark], list[MarkInDoubt]]:
    """Return one entry per mark visited at least twice and estimator, and the marks whose own pose is in doubt."""
    names = dict.fromkeys(name for run in runs for name in run.estimators)
    aided = {name for run in runs for name, estimator in run.estimators.items() if not estimator.uncorrected}
    unaided = frozenset(names.keys() - aided)
    figures = {}
    for name in names:
        with_it = [
            (run.estimators[name].marks, run.session.marks.name)
            for run in runs
            if run.session.marks is not None and name in run.estimators
        ]
        comparisons = [(comparison, marks) for comparison, marks in with_it if comparison is not None]
        most = float(len(comparisons)) if name in unaided else np.inf
        figures[name] = repeatability_at_marks([c for c, _ in comparisons], [marks for _, marks in comparisons], most)
    records = [AtMark(estimator=name, **vars(found)) for name, marks in figures.items() for found in marks]
    doubts = [MarkInDoubt(**vars(bias)) for bias in biased_marks(figures, unaided)]
    return records, doubts
