"""Which estimator is better than which, in words and as a table, and the answer that quotes it."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from locbench.report.numbers import (
    DEGREES,
    DisplayUnit,
    error_length,
    in_words,
    interval_words,
    quantity_text,
)
from locbench.report.text_tables import Cell, Column, TextTable, count_cell, label_cell, number_cell
from locbench.report.wording import DEAD_RECKONING, estimator_words, fusing, headline
from locbench.results import ComparisonRecord, Results
from locbench.statistics import FEWEST_SESSIONS, ComparisonVerdict
from locbench.units import UnitSystem

__all__ = ["answer", "comparison_lines", "comparisons_note", "comparisons_table", "verdict_words"]

_MEASURES = {"position_rms_m": "position", "heading_rms_rad": "heading", "miss_rms_m": "miss of shots"}
_WORDS = {
    ComparisonVerdict.BETTER: "better",
    ComparisonVerdict.WORSE: "worse",
    ComparisonVerdict.BETTER_HERE: "better in",
    ComparisonVerdict.WORSE_HERE: "worse in",
    ComparisonVerdict.NO_CLEAR_GAIN: "no clear gain",
}
_HERE = (ComparisonVerdict.BETTER_HERE, ComparisonVerdict.WORSE_HERE)
_MANY_SETTINGS = 3


def answer(results: Results, system: UnitSystem) -> str:
    """Return the answer in a sentence or two; from six sessions on it says which fusion is better than dead reckoning.

    Parameters
    ----------
    results
        One session or several.
    system
        Metric or imperial lengths.
    """
    positions = [record for record in _told(results) if record.measure == "position_rms_m"]
    gains = [r for r in positions if r.verdict is ComparisonVerdict.BETTER and fusing(r.estimator)]
    if not gains:
        return headline(results, system)
    # the fusion that gains most, against dead reckoning if it can be told
    best = max(gains, key=lambda record: (record.against == DEAD_RECKONING, -(record.difference.value or 0.0)))
    return (
        f"{headline(results, system)} Over {best.sessions} sessions {estimator_words(best.estimator)} is better than "
        f"{estimator_words(best.against)}: {_difference(best, system)}."
    )


def verdict_words(record: ComparisonRecord) -> str:
    """Return "better", or below six sessions "better in this run: 1 session, 6 needed"."""
    words = _WORDS[record.verdict]
    if record.verdict not in _HERE:
        return words
    runs = "this run" if record.sessions == 1 else "these runs"
    noun = "session" if record.sessions == 1 else "sessions"
    return f"{words} {runs}: {record.sessions} {noun}, {FEWEST_SESSIONS} needed"


def comparison_lines(results: Results, system: UnitSystem) -> list[str]:
    """Return one sentence per comparison of positions over all sessions; each pair once."""
    return [
        f"{estimator_words(record.estimator)} against {estimator_words(record.against)}: {verdict_words(record)}; "
        f"{_difference(record, system)}"
        for record in _told(results)
        if record.measure == "position_rms_m"
    ]


def _difference(record: ComparisonRecord, system: UnitSystem) -> str:
    """Return "35 mm RMS less (95 % 20–51 mm)"; an interval that holds zero keeps its signs."""
    number, length = record.difference, error_length(system)
    if number.value is None:
        return in_words(number, length)
    less = number.value < 0.0
    if less and number.ci95 is not None:
        number = replace(number, value=-number.value, ci95=(-number.ci95[1], -number.ci95[0]))
    interval = interval_words(number, length)
    size = f"{quantity_text(abs(number.value or 0.0), length)} RMS {'less' if less else 'more'}"
    return size if interval is None else f"{size} ({interval})"


def _told(results: Results) -> Iterator[ComparisonRecord]:
    """Yield the comparisons over all sessions; of two that mirror each other the one that says who is better."""
    over_all = [record for record in results.comparisons if record.session is None]
    known = {(record.estimator, record.against, record.measure): record for record in over_all}
    for record in over_all:
        mirror = known.get((record.against, record.estimator, record.measure))
        if mirror is None or (record.difference.value or 0.0, record.estimator) < (
            mirror.difference.value or 0.0,
            mirror.estimator,
        ):
            yield record


def comparisons_note(records: Sequence[ComparisonRecord]) -> str:
    """Return how to read the verdicts."""
    note = (
        f"Differences are paired by the same places; negative is better. From {FEWEST_SESSIONS} sessions on an exact "
        "sign-flip test of the sessions decides; below, one of the parts between marks says only what these runs did."
    )
    if len({record.estimator for record in records if fusing(record.estimator)}) >= _MANY_SETTINGS:
        note += " Each verdict alone is wrong in one of twenty cases at most; among many settings some will be."
    return note


def comparisons_table(results: Results, system: UnitSystem) -> TextTable:
    """Return one row per pair and measure over all sessions; without comparisons the table has no rows."""
    records = list(_told(results))
    rows = tuple(
        (
            label_cell(record.estimator),
            label_cell(record.against),
            Cell(_MEASURES[record.measure]),
            number_cell(record.difference, _unit(record, system)),
            Cell(_unit(record, system).symbol),
            count_cell(record.sessions),
            count_cell(record.parts),
            Cell(verdict_words(record)),
        )
        for record in records
    )
    columns = (
        Column("estimator", align="left"),
        Column("against", align="left"),
        Column("RMS of", align="left"),
        Column("difference"),
        Column("unit", align="left"),
        Column("sessions"),
        Column("parts", "of the way"),
        Column("verdict", align="left"),
    )
    return TextTable("Compared at the same places", columns, rows, note=comparisons_note(records))


def _unit(record: ComparisonRecord, system: UnitSystem) -> DisplayUnit:
    return DEGREES if record.measure == "heading_rms_rad" else error_length(system)
