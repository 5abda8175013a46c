"""The answer in a sentence or two, built from the numbers alone."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from locbench.report.numbers import (
    PLAIN,
    SECONDS,
    SHARE_PERCENT,
    TURNS,
    error_length,
    floor_length,
    interval_text,
    interval_words,
    number_text,
    plain_text,
    quantity_text,
)
from locbench.report.shot_tables import as_seen
from locbench.results import (
    BandShots,
    CorrectionSummary,
    ErrorSummary,
    EstimatorResult,
    PooledEstimator,
    ReferenceRecord,
    Results,
    SessionResult,
)
from locbench.statistics import UncertainNumber
from locbench.units import UnitSystem

__all__ = [
    "CAUTION",
    "DEAD_RECKONING",
    "EVIDENCE",
    "UNAIDED",
    "against_best_reference",
    "best_fusing",
    "estimator_words",
    "fusing",
    "headline",
    "marks_outside",
    "session_facts",
    "suspicion",
    "without_fixes",
]

DEAD_RECKONING = "dead_reckoning"
# Estimators whose error grows with the way because no fix of ours takes it back.
UNAIDED = frozenset({DEAD_RECKONING, "onboard"})
_NOT_FUSING = UNAIDED | {"tags_only"}

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


def session_facts(session: SessionResult, system: UnitSystem) -> str:
    """Return what the log supports and how long it is, in a line."""
    return (
        f"Evidence {session.evidence} ({EVIDENCE[session.evidence]}); {quantity_text(session.duration_s, SECONDS)}, "
        f"{_driven(session.path_length_m, system)} driven, {number_text(session.turns_absolute, TURNS)} turns"
        f"{_judged_by_marks(session.reference, system)}"
    )


def _judged_by_marks(reference: ReferenceRecord | None, system: UnitSystem) -> str:
    """Return by what fixes and aim were judged, if not by a dense truth: nothing is said of the rest of the time."""
    if reference is None or reference.kind == "dense truth":
        return ""
    std = reference.position_std_m
    surely = "" if std.value is None else f" to {quantity_text(std.value, error_length(system))} (standard uncertainty)"
    return (
        f"; fixes and aim are judged by odometry between the marks, which knows the place {surely.strip()} in "
        f"{number_text(reference.share_known, SHARE_PERCENT)} % of the time"
    )


def suspicion(session: SessionResult) -> str | None:
    """Return how long and where odometry looks doubtful, and what helps, in a sentence; None where it does not."""
    suspect = session.suspect_motion
    if suspect is None:
        return None
    where = "1 place, at" if suspect.places == 1 else f"{suspect.places} places, first at"
    advice = (
        "; filters whose [motion_noise] sets a doubted_factor trust tags more there"
        if any(fusing(name) for name in session.estimators)
        else ""
    )
    return (
        f"Odometry looks doubtful for {quantity_text(suspect.duration_s, SECONDS)} in {where} {suspect.first_s:.1f} s: "
        f"slips, lifted pods or shoves{advice}."
    )


def without_fixes(name: str, results: Iterable[EstimatorResult]) -> str | None:
    """Return that and why no fix moved this estimator in any of these results, or None if some did."""
    fixes = [(result.correction_mode, result.corrections) for result in results]
    counts = [(mode, summary) for mode, summary in fixes if summary is not None]
    if not counts:
        return None
    offered = sum(summary.offered for _, summary in counts)
    shown = plain_text(name)
    if offered == 0:
        return f"no fix lay inside the log, so {shown} is dead reckoning"
    if all(mode == "none" for mode, _ in counts):
        return f"{shown} applies no fixes by its mode, so it is dead reckoning"
    if any(summary.accepted for _, summary in counts):
        return None
    return f"{shown} used none of {offered} fixes, so it is dead reckoning"


def _for_one(session: SessionResult, system: UnitSystem) -> str:
    start = f"Evidence {session.evidence} ({EVIDENCE[session.evidence]}): "
    if session.evidence in "CD":
        return start + _without_reference(session, system)
    parts = []
    reckoning = session.estimators.get(DEAD_RECKONING)
    summary = None if reckoning is None else against_best_reference(reckoning)
    if reckoning is not None and summary is not None:
        length, driven = error_length(system), _driven(session.path_length_m, system)
        last = quantity_text(summary.position_last_m.value, length)
        place = f"at the end of {driven}" if reckoning.truth is not None else f"at the last mark, {driven} driven"
        inside = [interval_words(summary.position_rms_m, length), f"{last} {place}"]
        beside = "; ".join(part for part in inside if part is not None)
        parts.append(f"dead reckoning is {_bare_rms(summary.position_rms_m, system)} off ({beside})")
    return start + "; ".join(parts + _fusion_and_shots(session.estimators, [session], system)) + "."


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
        interval = interval_words(summary.position_rms_m, error_length(system))
        beside = "" if interval is None else f" ({interval})"
        parts.append(f"dead reckoning is {_bare_rms(summary.position_rms_m, system)} off{beside}")
    return start + "; ".join(parts + _fusion_and_shots(estimators, results.sessions, system)) + "."


def _driven(path_length_m: float, system: UnitSystem) -> str:
    return quantity_text(path_length_m, floor_length(system))


def _bare_rms(number: UncertainNumber, system: UnitSystem) -> str:
    """Return "31 mm RMS"; the tables say how many errors that rests on, and why there is no interval."""
    if number.value is None:
        return f"an unknown distance ({plain_text(number.why or 'no reason given')})"
    return f"{quantity_text(number.value, error_length(system))} RMS"


def _rms(number: UncertainNumber, system: UnitSystem) -> str:
    """Return "31 mm RMS (95 % 24–45 mm)"."""
    interval = interval_words(number, error_length(system))
    return _bare_rms(number, system) + ("" if interval is None else f" ({interval})")


def _fusion_and_shots(
    estimators: Mapping[str, EstimatorResult | PooledEstimator], sessions: Sequence[SessionResult], system: UnitSystem
) -> list[str]:
    best = best_fusing(estimators)
    if best is None:
        return ["no fusion could be scored here"]
    rivals = sum(fusing(name) for name in estimators)
    among = f" (lowest RMS of {rivals} fusions)" if rivals > 1 else ""
    gaps = "" if best.coverage > 0.995 else f", at {100.0 * best.coverage:.0f} % of the comparisons"
    parts = [f"{plain_text(best.name)}{among} {_rms(best.position_rms, system)}{gaps}"]
    idle = without_fixes(best.name, (s.estimators[best.name] for s in sessions if best.name in s.estimators))
    if idle is not None:
        parts = [idle]
    shots = _shots(estimators[best.name].shots, system)
    return parts if shots is None else [*parts, shots]


def _badness(band: BandShots) -> tuple[float, float, float]:
    hit = band.hit_probability
    share = 2.0 if hit.value is None else hit.value
    lowest = 2.0 if hit.ci95 is None else hit.ci95[0]
    return share, lowest, -(band.miss_rms_m.value or 0.0)


def _shots(bands: list[BandShots], system: UnitSystem) -> str | None:
    """Return how many shots go in if all of them do, else what happens in the worst band; None without any shot.

    Shots that were seen speak first, however few; a prediction speaks where none was.
    """
    shown = [as_seen(band) for band in bands]
    known = [band for band in shown if band.miss_rms_m.value is not None or band.hit_probability.value is not None]
    known = [band for band in known if band.basis == "measured"] or known
    if not known:
        return None
    worst = min(known, key=_badness)
    place = f"the {plain_text(worst.band)} band of the {plain_text(worst.goal)}"
    basis = "" if worst.basis == "measured" else f" ({worst.basis}, not measured)"
    hit = worst.hit_probability
    if hit.value is None:
        reason = plain_text(hit.why or "no reason given")
        return f"from {place} shots land {_rms(worst.miss_rms_m, system)} off{basis}; no hit share: {reason}"
    share = None if hit.ci95 is None else f"hit share {interval_text(hit.ci95, SHARE_PERCENT, 1.0)} %"
    if hit.value == 1.0:
        count = sum(band.hit_probability.n for band in known if band.hit_probability.value is not None)
        certainty = "" if share is None else f" (least certain: {place}, {share})"
        return f"all {count} shots from its places go in{basis}{certainty}"
    certainty = "" if share is None else f" ({share})"
    return f"from {place} {_missing(worst)} on localization alone{basis}{certainty}"


def _missing(band: BandShots) -> str:
    hit = band.hit_probability
    if band.hits is None or hit.n > _COUNTABLE_SHOTS:
        share = None if hit.value is None else 1.0 - hit.value
        return f"{number_text(share, SHARE_PERCENT)} % of shots miss"
    misses = hit.n - band.hits
    return f"{misses} of {hit.n} shots {'misses' if misses == 1 else 'miss'}"


def marks_outside(session: SessionResult) -> bool:
    """Return whether the log has mark visits, but by their clock none of the odometry log's time."""
    outside = [f for f in session.findings if f.code == "outside_log" and "mark visits" in f.message]
    return session.evidence in "CD" and bool(outside)


def _remedy(session: SessionResult) -> str:
    if marks_outside(session):
        return "the mark visits lie outside the odometry log, so check the clocks of both"
    return "lay out marks"


def _without_reference(session: SessionResult, system: UnitSystem) -> str:
    if session.evidence == "D":
        return (
            "without marks, truth or tags there is nothing to compare the odometry with, so no drift in metres "
            f"and no hit share; {_remedy(session)}."
        )
    sentence = (
        "without marks or truth there is no drift in metres, no verdict on single fixes and no hit share; "
        f"{_remedy(session)}. "
        "What can be said: "
    )
    facts = [
        _fixes_fact(name, result, result.corrections, system)
        for name, result in session.estimators.items()
        if result.corrections is not None
    ]
    if len(facts) > _FACTS_IN_A_HEADLINE:
        facts = [*facts[:_FACTS_IN_A_HEADLINE], f"{len(facts) - _FACTS_IN_A_HEADLINE} more below"]
    return sentence + ("; ".join(facts) if facts else "only that the odometry was read") + "."


def _fixes_fact(name: str, result: EstimatorResult, fixes: CorrectionSummary, system: UnitSystem) -> str:
    """Return what fixes did to one estimator, all that can be said without a reference."""
    idle = without_fixes(name, [result])
    if idle is not None:
        return idle
    fact = f"{plain_text(name)} took {fixes.accepted} of {fixes.offered} fixes"
    if fixes.jump_rms_m.value is not None:
        fact += f", which moved it by {_rms(fixes.jump_rms_m, system)}"
    if result.consistency is not None and result.consistency.nis_median.value is not None:
        typical = number_text(result.consistency.nis_median.value, PLAIN)
        fact += f", typical NIS {typical} (1 if as sure as it is right)"
    return fact
