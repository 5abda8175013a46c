"""The answer in a sentence or two, built from the numbers alone."""

from collections.abc import Mapping
from dataclasses import dataclass

from locbench.report.numbers import (
    PLAIN,
    SHARE_PERCENT,
    error_length,
    floor_length,
    in_words,
    interval_text,
    number_text,
    plain_text,
    quantity_text,
)
from locbench.results import BandShots, ErrorSummary, EstimatorResult, PooledEstimator, Results, SessionResult
from locbench.statistics import UncertainNumber
from locbench.units import UnitSystem

__all__ = ["CAUTION", "DEAD_RECKONING", "EVIDENCE", "best_fusing", "estimator_words", "fusing", "headline"]

DEAD_RECKONING = "dead_reckoning"
_NOT_FUSING = frozenset({DEAD_RECKONING, "tags_only", "onboard"})

EVIDENCE: Mapping[str, str] = {
    "A": "dense truth",
    "B": "surveyed marks",
    "C": "tags only",
    "D": "odometry alone",
}

CAUTION = (
    "Before the robot drives or shoots: eye protection on, floor clear of people, wheels off the ground on blocks "
    "for spin tests, one person at the stop button. The event's rules and the responsible adult have the last word."
)

# Above this many shots a share reads better than a count.
_COUNTABLE_SHOTS = 50
_FACTS_IN_A_HEADLINE = 2


@dataclass(frozen=True)
class Contender:
    """An estimator with the error that ranks it."""

    name: str
    position_rms: UncertainNumber
    coverage: float


def estimator_words(name: str) -> str:
    """Return an estimator's name as it stands in a sentence."""
    return "dead reckoning" if name == DEAD_RECKONING else plain_text(name)


def fusing(name: str) -> bool:
    """Return whether this estimator is one of the user's fusion files."""
    return name not in _NOT_FUSING


def against_best_reference(result: EstimatorResult | PooledEstimator) -> ErrorSummary | None:
    """Return the errors against dense truth, or else at marks, or None."""
    return result.truth or result.marks


def best_fusing(estimators: Mapping[str, EstimatorResult | PooledEstimator]) -> Contender | None:
    """Return the fusing estimator with the smallest RMS position error, or None if none has one."""
    contenders = [
        Contender(name, summary.position_rms_m, summary.coverage)
        for name, result in estimators.items()
        if fusing(name)
        and (summary := against_best_reference(result)) is not None
        and summary.position_rms_m.value is not None
    ]
    return min(contenders, key=lambda contender: contender.position_rms.value or 0.0, default=None)


def headline(results: Results, system: UnitSystem) -> str:
    """Return the answer: what the log can support, dead reckoning, the best fusion, its worst band.

    Parameters
    ----------
    results
        One session or several; several are answered from the pooled numbers.
    system
        Metric or imperial lengths.
    """
    if results.pooled is not None and len(results.sessions) > 1:
        return _for_several(results, results.pooled.estimators, system)
    return _for_one(results.sessions[0], system)


def _for_one(session: SessionResult, system: UnitSystem) -> str:
    start = f"Evidence {session.evidence} ({EVIDENCE[session.evidence]}): "
    if session.evidence in "CD":
        return start + _without_reference(session, system)
    parts = []
    reckoning = session.estimators.get(DEAD_RECKONING)
    summary = None if reckoning is None else against_best_reference(reckoning)
    if summary is not None:
        last = in_words(summary.position_last_m, error_length(system))
        parts.append(f"dead reckoning is {last} off after {_driven(session.path_length_m, system)}")
    return start + "; ".join(parts + _fusion_and_shots(session.estimators, system)) + "."


def _for_several(results: Results, estimators: Mapping[str, PooledEstimator], system: UnitSystem) -> str:
    count = len(results.sessions)
    letters = [session.evidence for session in results.sessions]
    kinds = ", ".join(f"{letters.count(k)} with {words}" for k, words in EVIDENCE.items() if k in letters)
    driven = _driven(sum(session.path_length_m for session in results.sessions), system)
    start = f"Evidence {results.evidence} over {count} sessions ({kinds}; {driven} driven): "
    reckoning = estimators.get(DEAD_RECKONING)
    summary = None if reckoning is None else against_best_reference(reckoning)
    if summary is None and best_fusing(estimators) is None:
        return start + "without marks or truth there is no drift in metres and no hit share; lay out marks."
    parts = []
    if summary is not None:
        parts.append(f"dead reckoning {_rms(summary.position_rms_m, system)}")
    return start + "; ".join(parts + _fusion_and_shots(estimators, system)) + "."


def _driven(path_length_m: float, system: UnitSystem) -> str:
    return quantity_text(path_length_m, floor_length(system))


def _rms(number: UncertainNumber, system: UnitSystem) -> str:
    return in_words(number, error_length(system)).replace(" (", " RMS (", 1)


def _fusion_and_shots(estimators: Mapping[str, EstimatorResult | PooledEstimator], system: UnitSystem) -> list[str]:
    best = best_fusing(estimators)
    if best is None:
        return ["no fusion could be scored here"]
    rivals = sum(fusing(name) for name in estimators)
    among = f" (lowest RMS of {rivals} fusions)" if rivals > 1 else ""
    gaps = "" if best.coverage > 0.995 else f", at {100.0 * best.coverage:.0f} % of the comparisons"
    parts = [f"{plain_text(best.name)}{among} {_rms(best.position_rms, system)}{gaps}"]
    shots = _worst_band(estimators[best.name].shots, system)
    return parts if shots is None else [*parts, shots]


def _badness(band: BandShots) -> tuple[float, float, float]:
    hit = band.hit_probability
    share = 2.0 if hit.value is None else hit.value
    lowest = 2.0 if hit.ci95 is None else hit.ci95[0]
    return share, lowest, -(band.miss_rms_m.value or 0.0)


def _worst_band(bands: list[BandShots], system: UnitSystem) -> str | None:
    known = [band for band in bands if band.miss_rms_m.value is not None or band.hit_probability.value is not None]
    if not known:
        return None
    worst = min(known, key=_badness)
    place = f"from the {plain_text(worst.band)} band of the {plain_text(worst.goal)}"
    basis = "" if worst.basis == "measured" else f" ({worst.basis}, not measured)"
    hit = worst.hit_probability
    if hit.value is None:
        reason = plain_text(hit.why or "no reason given")
        return f"{place} shots land {_rms(worst.miss_rms_m, system)} off{basis}; no hit share: {reason}"
    interval = "no interval" if hit.ci95 is None else f"{interval_text(hit.ci95, SHARE_PERCENT, 1.0)} %"
    if hit.n > _COUNTABLE_SHOTS:
        missing = number_text(1.0 - hit.value, SHARE_PERCENT)
        return (
            f"{place} {missing} % of shots miss on localization alone{basis} (hit share {interval}, n = {hit.n} places)"
        )
    if hit.value == 1.0:
        return (
            f"no shot misses on localization alone from any band; least certain {place}: "
            f"{hit.n} of {hit.n} hit{basis} (hit share {interval})"
        )
    misses = hit.n - (worst.hits or 0)
    verb = "misses" if misses == 1 else "miss"
    return f"{place} {misses} of {hit.n} shots {verb} on localization alone{basis} (hit share {interval})"


def _without_reference(session: SessionResult, system: UnitSystem) -> str:
    if session.evidence == "D":
        return (
            "without marks, truth or tags there is nothing to compare the odometry with, so no drift in metres "
            "and no hit share; lay out marks."
        )
    sentence = (
        "without marks or truth there is no drift in metres, no verdict on single fixes and no hit share; "
        "lay out marks. "
        "What can be said: "
    )
    facts = []
    for name, result in session.estimators.items():
        corrections = result.corrections
        if corrections is None:
            continue
        fact = f"{plain_text(name)} took {corrections.accepted} of {corrections.offered} fixes"
        if corrections.jump_rms_m.value is not None:
            fact += f", which moved it by {_rms(corrections.jump_rms_m, system)}"
        if result.consistency is not None and result.consistency.nis_mean.value is not None:
            fact += f", NIS {number_text(result.consistency.nis_mean.value, PLAIN)} (1 if as sure as it is right)"
        facts.append(fact)
    if len(facts) > _FACTS_IN_A_HEADLINE:
        facts = [*facts[:_FACTS_IN_A_HEADLINE], f"{len(facts) - _FACTS_IN_A_HEADLINE} more below"]
    return sentence + ("; ".join(facts) if facts else "only that the odometry was read") + "."
