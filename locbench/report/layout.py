"""The tables of estimators, fixes, drift and findings."""

from collections.abc import Mapping, Sequence

from locbench.report.judging_tables import verdicts_cell
from locbench.report.numbers import (
    DEGREES,
    DRIFT_PERCENT,
    MISSING,
    PLAIN,
    SECONDS,
    SHARE_PERCENT,
    DisplayUnit,
    as_sentence,
    error_length,
    floor_length,
    number_text,
    plain_text,
    rule_words,
)
from locbench.report.text_tables import (
    NOTHING,
    Cell,
    Column,
    TextTable,
    count_cell,
    label_cell,
    largest_cell,
    number_cell,
    without_empty_columns,
)
from locbench.report.wording import UNAIDED, against_best_reference
from locbench.results import CorrectionSummary, Drift, ErrorSummary, EstimatorResult, PooledEstimator, SessionResult
from locbench.units import UnitSystem

__all__ = [
    "corrections_table",
    "drift_table",
    "estimators_table",
    "findings_table",
    "fixes_table",
    "pooled_table",
]

_DRIFT_NOTE = (
    "Only without fixes is this a growth per metre. For estimators that use tags it is how much the error changes from "
    "one reference to the next."
)


def _error_cells(result: EstimatorResult | PooledEstimator, length: DisplayUnit) -> tuple[Cell, Cell, Cell]:
    """Return RMS at marks, RMS against truth, and heading RMS against the better of both."""
    best = against_best_reference(result)

    def position(summary: ErrorSummary | None, key: str) -> Cell:
        return Cell(MISSING, result.why.get(key)) if summary is None else number_cell(summary.position_rms_m, length)

    return (
        position(result.marks, "marks"),
        position(result.truth, "truth"),
        NOTHING if best is None else number_cell(best.heading_rms_rad, DEGREES),
    )


def _name_cell(name: str, result: EstimatorResult | PooledEstimator) -> Cell:
    """Return the estimator's name, and the share of comparisons it rests on if it had no pose at some."""
    best = against_best_reference(result)
    if best is None or best.coverage > 0.995:
        return label_cell(name)
    return Cell(f"{plain_text(name)} (covers {number_text(best.coverage, SHARE_PERCENT)} %)")


def _error_columns(length: DisplayUnit) -> tuple[Column, ...]:
    return (
        Column("at marks", f"RMS {length.symbol}"),
        Column("against truth", f"RMS {length.symbol}"),
        Column("heading", "RMS deg"),
    )


def _typical_nis_cell(result: EstimatorResult) -> Cell:
    consistency = result.consistency
    if consistency is None or consistency.nis_median.value is None:
        # dead reckoning takes no fixes, so nothing is missing there
        return NOTHING
    return number_cell(consistency.nis_median, PLAIN)


def _growing_drift_cell(name: str, result: EstimatorResult) -> Cell:
    """Return the drift per metre of an estimator whose error grows with the way; fixes take the growth back."""
    if name not in UNAIDED or result.drift is None:
        return NOTHING
    return number_cell(result.drift.position_per_metre, DRIFT_PERCENT)


def estimators_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator: errors, drift, fixes, helped and hurt, consistency; empty columns are left out."""
    length = error_length(system)
    rows = []
    for name, result in session.estimators.items():
        fixes = result.corrections
        judged = (
            NOTHING
            if fixes is None
            else Cell(MISSING, fixes.why.get("helped"))
            if fixes.helped is None or fixes.hurt is None
            else Cell(f"{fixes.helped}/{fixes.hurt}")
        )
        drift = _growing_drift_cell(name, result)
        taken = NOTHING if fixes is None else Cell(f"{fixes.accepted}/{fixes.offered}")
        errors = _error_cells(result, length)
        rows.append((_name_cell(name, result), *errors, drift, taken, judged, _typical_nis_cell(result)))
    columns = (
        Column("estimator", align="left"),
        *_error_columns(length),
        Column("drift", "% of path"),
        Column("fixes taken", "/seen"),
        Column("helped", "/hurt"),
        Column("NIS typical", "honest 1"),
    )
    return without_empty_columns(TextTable("How far off", columns, tuple(rows)))


def pooled_table(estimators: Mapping[str, PooledEstimator], system: UnitSystem) -> TextTable:
    """Return one row per estimator over all sessions."""
    length = error_length(system)
    rows = tuple(
        (
            _name_cell(name, result),
            count_cell(result.sessions),
            *_error_cells(result, length),
            number_cell(result.between_session_std_m, length),
        )
        for name, result in estimators.items()
    )
    columns = (
        Column("estimator", align="left"),
        Column("sessions"),
        *_error_columns(length),
        Column("between sessions", f"std {length.symbol}"),
    )
    return without_empty_columns(TextTable("How far off, all sessions together", columns, rows))


_BECAME = (
    Column("estimator", align="left"),
    Column("offered"),
    Column("taken"),
    Column("refused", "by rule", align="left"),
    Column("reacquired"),
    Column("helped/hurt", "/neutral/undecided"),
)


def _became_cells(name: str, fixes: CorrectionSummary) -> tuple[Cell, ...]:
    return (
        label_cell(name),
        count_cell(fixes.offered),
        count_cell(fixes.accepted),
        _refusals_cell(fixes),
        count_cell(fixes.reacquired),
        verdicts_cell(fixes),
    )


def _taking_fixes(session: SessionResult) -> dict[str, CorrectionSummary]:
    return {name: r.corrections for name, r in session.estimators.items() if r.corrections is not None}


def fixes_table(session: SessionResult) -> TextTable:
    """Return one row per estimator that takes fixes: how many, refused by which rules, and what those taken did."""
    rows = tuple(_became_cells(name, fixes) for name, fixes in _taking_fixes(session).items())
    return without_empty_columns(TextTable("What became of the fixes", _BECAME, rows))


def corrections_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return `fixes_table`, and how far fixes moved the pose."""
    length = error_length(system)
    rows = tuple(
        (
            *_became_cells(name, fixes),
            number_cell(fixes.jump_rms_m, length),
            largest_cell(fixes.jump_max_m, length),
            largest_cell(fixes.jump_max_rad, DEGREES),
            Cell(number_text(fixes.longest_without_s, SECONDS)),
        )
        for name, fixes in _taking_fixes(session).items()
    )
    columns = (
        *_BECAME,
        Column("jump", f"RMS {length.symbol}"),
        Column("jump", f"largest {length.symbol}"),
        Column("turn", "largest deg"),
        Column("without", "longest s"),
    )
    return without_empty_columns(TextTable("What became of the fixes", columns, rows))


def _refusals_cell(fixes: CorrectionSummary) -> Cell:
    return Cell(", ".join(f"{rule_words(rule)} {count}" for rule, count in fixes.rejected.items()) or MISSING)


def _drift_cells(drift: Drift, system: UnitSystem) -> tuple[Cell, ...]:
    per_turn = drift.heading_per_turn_rad
    return (
        largest_cell(drift.segment_length_m, floor_length(system)),
        number_cell(drift.position_per_metre, DRIFT_PERCENT),
        number_cell(drift.position_per_minute_m, error_length(system)),
        number_cell(drift.heading_per_metre_rad, DEGREES),
        number_cell(per_turn, DEGREES),
    )


def drift_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator: change of the error between references, per metre, minute and turn."""
    length, floor = error_length(system), floor_length(system)
    rows = tuple(
        (label_cell(name), *_drift_cells(result.drift, system))
        for name, result in session.estimators.items()
        if result.drift is not None
    )
    columns = (
        Column("estimator", align="left"),
        Column("segment", f"median {floor.symbol}"),
        Column("position", "% of path"),
        Column("position", f"{length.symbol} per min"),
        Column("heading", "deg per m"),
        Column("heading", "deg per turn"),
    )
    corrected = any(name not in UNAIDED for name, result in session.estimators.items() if result.drift is not None)
    notes = [_DRIFT_NOTE] if corrected else []
    # all estimators drove the same way, so the first one that has the segments speaks for all
    drifts = [result.drift for result in session.estimators.values() if result.drift is not None]
    notes += [_confounded_words(group) for group in (drifts[0].confounded if drifts else [])]
    note = " ".join(notes)
    return TextTable("Drift over segments between references", columns, rows, note=note)


def _confounded_words(group: Sequence[str]) -> str:
    if len(group) > 2:
        return (
            f"{', '.join(group[:-1]).capitalize()} and {group[-1]} are made up of each other here, as at one speed and "
            "one turn rate: what the error grows with cannot be told."
        )
    return (
        f"{' and '.join(group).capitalize()} never varied apart here, so errors per each of them are one thing seen "
        "twice: only a drive that varies them tells which it grows with."
    )


def findings_table(session: SessionResult) -> TextTable:
    """Return one row per problem found in the log."""
    rows = tuple(
        (
            Cell(finding.severity),
            label_cell(finding.where or MISSING),
            label_cell(
                as_sentence(finding.message if finding.value is None else f"{finding.message} (found: {finding.value})")
            ),
            label_cell(as_sentence(finding.remedy) or MISSING),
        )
        for finding in session.findings
    )
    headings = ("severity", "where", "what", "what to do")
    return TextTable("Findings in the log", tuple(Column(heading, align="left") for heading in headings), rows)
