"""Where to look next: what in the numbers asks for a second look, in plain sentences and without false certainty."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from locbench.report.consistency_words import consistency_hints
from locbench.report.mark_tables import marks_in_doubt
from locbench.report.numbers import (
    as_sentence,
    error_length,
    floor_length,
    in_words,
    plain_text,
    quantity_text,
    rule_words,
)
from locbench.report.shot_tables import as_seen, has_sample
from locbench.report.wording import (
    CAUTION,
    DEAD_RECKONING,
    against_best_reference,
    estimator_words,
    fusing,
    marks_outside,
    without_fixes,
)
from locbench.results import CorrectionSummary, EstimatorResult, ReferenceRecord, Results, SessionResult
from locbench.statistics import FEWEST_SESSIONS, UncertainNumber
from locbench.units import UnitSystem

__all__ = ["where_to_look_next"]

# Intervals of one run are wide; a difference smaller than this and inside them is not worth a hint.
_NOTABLY_WORSE = 1.25
_CONTACT = "Look there for contact or a slipping pod"
_INSPECT = "locbench inspect says whether a unit, frame, clock or pod is wrong."


@dataclass(frozen=True)
class Hint:
    """One sentence, and whether following it means driving or shooting."""

    text: str
    means_driving: bool = False


def where_to_look_next(results: Results, system: UnitSystem = UnitSystem.METRIC) -> list[str]:
    """Return sentences in the order in which they are worth reading; empty if nothing stands out.

    If one of them asks to drive or shoot, the last entry is the usual caution.

    Parameters
    ----------
    results
        One session or several.
    system
        Metric or imperial lengths.
    """
    hints: list[Hint] = []
    by_session = {
        plain_text(session.name): list(_session_hints(session, _compared(results, session), system))
        for session in results.sessions
    }
    if len(by_session) > 1:
        hints += _said_once(by_session)
    else:
        hints += [hint for found in by_session.values() for hint in found]
    hints += [Hint(text) for text in marks_in_doubt(results, system)]
    hints += _too_few_sessions(results)
    cautions = [CAUTION] if any(hint.means_driving for hint in hints) or _asks_for_places(results) else []
    return [hint.text for hint in hints] + cautions


def _said_once(by_session: Mapping[str, Sequence[Hint]]) -> list[Hint]:
    """Return the hints of several sessions, what holds for more than one first and once."""
    names: dict[Hint, list[str]] = {}
    for session, hints in by_session.items():
        for hint in hints:
            names.setdefault(hint, []).append(session)
    shared = [
        Hint(f"In {len(found)} of {len(by_session)} sessions: {hint.text}", hint.means_driving)
        for hint, found in names.items()
        if len(found) > 1
    ]
    return shared + [
        Hint(f"{found[0]}: {hint.text}", hint.means_driving) for hint, found in names.items() if len(found) == 1
    ]


def _asks_for_places(results: Results) -> bool:
    """Return whether a table asks to drive to more places."""
    return any(band.needed for session in results.sessions for r in session.estimators.values() for band in r.shots)


def _compared(results: Results, session: SessionResult) -> frozenset[str]:
    """Return the estimators on which a paired verdict against dead reckoning stands above the hints."""
    return frozenset(
        record.estimator
        for record in results.comparisons
        if record.against == DEAD_RECKONING
        and record.measure == "position_rms_m"
        and record.session in (None, session.name)
    )


def _session_hints(session: SessionResult, compared: frozenset[str], system: UnitSystem) -> Iterator[Hint]:
    yield from _findings(session)
    if session.evidence in "CD" and not marks_outside(session):
        yield Hint("Lay out surveyed marks and stop on them, or nothing can be said in metres.", True)
    yield from _broken_reference(session.reference)
    alone = {name: result for name, result in session.estimators.items() if name not in compared}
    yield from _worse_than_dead_reckoning(alone, system)
    yield from _outlying_drift(session.estimators, system)
    for name, result in session.estimators.items():
        if result.corrections is not None:
            yield from _corrections(name, result, result.corrections)
        if result.consistency is not None:
            yield from (Hint(line) for line in consistency_hints(name, result, result.consistency))
    yield from _empty_bands(session.estimators)
    for name, reason in session.estimators_left_out.items():
        yield Hint(f"{estimator_words(name)} was left out: {plain_text(reason)}.")


def _findings(session: SessionResult) -> Iterator[Hint]:
    serious = [finding for finding in session.findings if finding.severity != "note"]
    counts = Counter((finding.severity, finding.code) for finding in serious)
    for (severity, code), count in sorted(counts.items()):
        first = next(finding for finding in serious if (finding.severity, finding.code) == (severity, code))
        times = f"{count} times, first " if count > 1 else ""
        place = f" ({times}{plain_text(first.where)})" if first.where else ""
        yield Hint(f"Log {severity}{place}: {as_sentence(first.message)} {as_sentence(first.remedy)}".rstrip())


def _broken_reference(reference: ReferenceRecord | None) -> Iterator[Hint]:
    intervals = [] if reference is None else reference.intervals
    broken = [interval for interval in intervals if interval.broken]
    if not broken:
        return
    places = ", ".join(f"{interval.start_s:.1f}–{interval.end_s:.1f} s" for interval in broken)
    meaning = (
        f"Most do, so look at the robot file first: its [motion_noise] is too small, or its geometry is off. {_INSPECT}"
        if len(broken) > len(intervals) / 2
        else f"{_CONTACT}; corrections in these times are undecided."
    )
    yield Hint(
        f"odometry does not close between {len(broken)} of {len(intervals)} pairs of neighbouring marks "
        f"({places}). {meaning}"
    )


def _worse_than_dead_reckoning(estimators: Mapping[str, EstimatorResult], system: UnitSystem) -> Iterator[Hint]:
    reckoning = estimators.get(DEAD_RECKONING)
    base = None if reckoning is None else against_best_reference(reckoning)
    if base is None or base.position_rms_m.value is None:
        return
    for name, result in estimators.items():
        summary = against_best_reference(result)
        if not (fusing(name) or name == "onboard") or summary is None or without_fixes(name, [result]) is not None:
            continue
        ours = summary.position_rms_m
        if ours.value is None or ours.value <= base.position_rms_m.value:
            continue
        apart = _apart(base.position_rms_m, ours)
        if not apart and ours.value <= _NOTABLY_WORSE * base.position_rms_m.value:
            continue
        length = error_length(system)
        numbers = f"{in_words(ours, length)} RMS against {in_words(base.position_rms_m, length)}"
        verdict = (
            "was further off than dead reckoning in this run, beyond both intervals"
            if apart
            else "was further off than dead reckoning in this run, though the intervals do not settle it"
        )
        yield Hint(f"{plain_text(name)} {verdict}: {numbers}.")


def _apart(lower: UncertainNumber, upper: UncertainNumber) -> bool:
    return lower.ci95 is not None and upper.ci95 is not None and lower.ci95[1] < upper.ci95[0]


def _outlying_drift(estimators: Mapping[str, EstimatorResult], system: UnitSystem) -> Iterator[Hint]:
    reckoning = estimators.get(DEAD_RECKONING)
    if reckoning is None or reckoning.drift is None or not reckoning.drift.outlying:
        return
    length, floor = error_length(system), floor_length(system)
    places = [
        f"{quantity_text(segment.position_error_m, length)} from {segment.start_s:.1f} s to {segment.end_s:.1f} s "
        f"({quantity_text(segment.length_m, floor)})"
        for segment in reckoning.drift.outlying
    ]
    yield Hint(
        f"dead reckoning gained more than four times its usual error per metre in {len(places)} of "
        f"{reckoning.drift.segment_length_m.n} segments: {', '.join(places)}. {_CONTACT}: locbench slip says which."
    )


def _corrections(name: str, result: EstimatorResult, fixes: CorrectionSummary) -> Iterator[Hint]:
    shown, refused = plain_text(name), fixes.offered - fixes.accepted
    rule, count = max(fixes.rejected.items(), key=lambda item: item[1], default=("", 0))
    if fixes.offered == 0:
        yield Hint(f"{shown}: no fix lay inside the odometry log. Check the clocks of both.")
        return
    for idle in fixes.idle_rules:
        yield Hint(
            f"{shown}: its rule {rule_words(idle)} had nothing to look at, because no fix of this log reports it. "
            "Log it with the tags if the rule is to count."
        )
    if fixes.accepted == 0:
        most = f" (most refused by the rule {rule_words(rule)})" if rule else ""
        yield Hint(f"{shown} used none of {fixes.offered} fixes{most}, so it is dead reckoning. {_INSPECT}")
        return
    if result.correction_mode == "none":
        return
    if fixes.hurt:
        untold = f", and of {fixes.undecided} that cannot be told" if fixes.undecided else ""
        yield Hint(
            f"{shown}: {fixes.hurt} of {fixes.accepted} accepted fixes moved it away from the truth, "
            f"{fixes.helped} towards it{untold}. See the hurt row under its errors over time in the report."
        )
    if refused > fixes.accepted and rule:
        said = f"{shown} refused {refused} of {fixes.offered} fixes, most by the rule {rule_words(rule)} ({count})."
        # the other rules refuse what the user told them to; the gate what contradicts everything else
        yield Hint(f"{said} {_INSPECT}" if rule == "gate" else said)


def _listed(names: Sequence[str]) -> str:
    """Return "near, middle and far"."""
    return " and ".join(part for part in (", ".join(names[:-1]), names[-1]) if part)


def _empty_bands(estimators: Mapping[str, EstimatorResult]) -> Iterator[Hint]:
    bands = [as_seen(band) for result in estimators.values() for band in result.shots]
    sampled = {(band.goal, band.band) for band in bands if has_sample(band)}
    empty = dict.fromkeys((band.goal, band.band) for band in bands if (band.goal, band.band) not in sampled)
    for goal in dict.fromkeys(goal for goal, _ in empty):
        names = [plain_text(band) for other, band in empty if other == goal]
        where = f"{_listed(names)} band{'s' if len(names) > 1 else ''} of the {plain_text(goal)}"
        yield Hint(f"No shot can be judged from the {where}: drive there and stop on marks.", True)
    unaimable = {
        (band.goal, band.band): band.cannot_aim
        for band in bands
        if band.cannot_aim and (band.miss_rms_m.value is None or band.basis != "measured")
    }
    for (goal, band_name), count in unaimable.items():
        places = f"any of {count} places in the {plain_text(band_name)} band"
        yield Hint(f"The turret cannot reach the {plain_text(goal)} from {places}.")


def _too_few_sessions(results: Results) -> Iterator[Hint]:
    count = len(results.sessions)
    if count < FEWEST_SESSIONS and any(session.evidence in "AB" for session in results.sessions):
        noun = "session" if count == 1 else "sessions"
        yield Hint(
            f"{count} {noun}: what is seen here holds for this run; "
            f"{FEWEST_SESSIONS} are needed before one estimator can be called better than another.",
            True,
        )
