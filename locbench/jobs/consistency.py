"""Whether each estimator is as sure as it is right, in the numbers of results.json."""

from collections.abc import Sequence
from dataclasses import replace

from locbench.accuracy import (
    Comparison,
    innovation_ratios,
    locked_out,
    mean_innovation_squared,
    mean_normalised_error_squared,
    redrawn_mean_errors_squared,
    slow_errors,
    typical_innovation_squared,
)
from locbench.accuracy.consistency import normalised_errors_squared
from locbench.arrays import FloatArray
from locbench.config import CorrectionMode, FusionConfig
from locbench.fusion import Corrections
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.results import Consistency, PooledConsistency
from locbench.session import Session
from locbench.statistics import (
    FEWEST_SESSIONS,
    Remark,
    band_of_draws,
    chi_square_mean_band,
    judge_consistency,
    measured,
    remark_on_errors,
    remark_on_fixes,
    unavailable,
)

__all__ = ["consistency", "pooled_consistency"]

_NOT_WHITE = "without a Kalman gain the innovations follow from each other, so they give no band"
_NO_REFERENCE = "no reference, or the estimator gives no covariance"


def consistency(run: SessionRun, name: str) -> Consistency:
    """Return NEES and NIS of one estimator with their bands, and what an honest one would hardly show."""
    estimator, fusion = run.estimators[name], run.fusions.get(name)
    places, parts = estimator.places, _all_corrections(estimator)
    errors, draws = unavailable("no reference in this log"), None
    if places is not None:
        errors = mean_normalised_error_squared(places)
        draws = redrawn_mean_errors_squared(estimator.estimates, run.motions, places, _ends(run.session, places))
    why: dict[str, str] = {}
    if draws is None:
        why["nees_band95"] = errors.why or _NO_REFERENCE
    innovations, band, typical = unavailable("no corrections"), None, unavailable("no corrections")
    if parts:
        innovations, band = mean_innovation_squared(parts)
        typical = typical_innovation_squared(parts)
    if band is None:
        why["nis_band95"] = "no corrections"
    elif not _is_white(fusion):
        # only a Kalman gain makes innovations independent of each other
        band, typical = None, replace(typical, ci95=None, why=_NOT_WHITE)
        why["nis_band95"] = _NOT_WHITE
    remarks = [] if draws is None else [remark_on_errors(errors, draws)]
    if parts and _is_white(fusion):
        remarks += [remark_on_fixes(innovation_ratios(parts), typical), slow_errors(parts)]
    return Consistency(
        nees_mean=errors,
        nees_band95=None if draws is None else band_of_draws(draws),
        nis_mean=innovations,
        nis_band95=band,
        nis_median=typical,
        verdict=judge_consistency(typical),
        remarks=[remark for remark in remarks if remark is not None] + _lockouts(parts, fusion),
        why=why,
    )


def _all_corrections(estimator: EstimatorRun) -> list[Corrections]:
    return [estimate.corrections for estimate in estimator.estimates if estimate.corrections is not None]


def _is_white(fusion: FusionConfig | None) -> bool:
    return fusion is not None and fusion.correction.mode is CorrectionMode.KALMAN


def _lockouts(parts: Sequence[Corrections], fusion: FusionConfig | None) -> list[Remark]:
    applies = fusion is not None and fusion.correction.mode is not CorrectionMode.NONE
    if fusion is None or fusion.trust.gate_probability is None or not applies:
        return []
    return locked_out(parts, fusion.trust.gate_probability)


def _ends(session: Session, places: Comparison) -> FloatArray:
    """Return (K,) until when each comparison lasts: to the end of its visit, or no time if it is one of a truth."""
    if session.marks is None or not len(session.marks):
        return places.time_s
    return session.marks.end_s[places.source]


def pooled_consistency(estimators: Sequence[EstimatorRun]) -> PooledConsistency:
    """Return the mean NEES over the middle comparison of each session, and its band from six sessions on.

    Sessions err independently of each other, so one comparison of each gives a chi-square band: Bar-Shalom, Li &
    Kirubarajan 2001, section 5.4.
    """
    method = "mean of e' (P + R)^-1 e at the middle reference of each session, per degree of freedom"
    squared, size = [], []
    for estimator in estimators:
        if estimator.places is not None:
            values, components = normalised_errors_squared(estimator.places)
            squared += values[len(values) // 2 :][:1].tolist()
            size += components[len(values) // 2 :][:1].tolist()
    if not squared:
        return PooledConsistency(
            nees_mean=unavailable(_NO_REFERENCE, method=method), nees_band95=None, why={"nees_band95": _NO_REFERENCE}
        )
    mean = measured(sum(squared) / sum(size), None, len(squared), method, "see the band beside it")
    if len(squared) < FEWEST_SESSIONS:
        few = f"fewer than {FEWEST_SESSIONS} sessions with a reference"
        return PooledConsistency(nees_mean=mean, nees_band95=None, why={"nees_band95": few})
    return PooledConsistency(nees_mean=mean, nees_band95=chi_square_mean_band(1.0, sum(size)), why={})
