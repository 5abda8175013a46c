"""How well marks were found again: the table, and what to say of marks whose own place is in doubt."""

from collections.abc import Iterator

from locbench.report.numbers import DEGREES, error_length, interval_text, plain_text
from locbench.report.text_tables import Column, TextTable, count_cell, label_cell, largest_cell, number_cell
from locbench.results import Results
from locbench.units import UnitSystem

__all__ = ["marks_in_doubt", "marks_table"]

_NOTE = (
    "Bias: mean believed minus surveyed position. Accuracy is its length, repeatability the mean distance from the "
    "barycentre plus three standard deviations, of headings three standard deviations (ISO 9283)."
)


def marks_table(results: Results, system: UnitSystem) -> TextTable:
    """Return one row per mark visited at least twice and estimator, over all sessions."""
    length = error_length(system)
    rows = tuple(
        (
            label_cell(found.mark),
            label_cell(found.estimator),
            count_cell(found.visits),
            number_cell(found.bias_x_m, length),
            number_cell(found.bias_y_m, length),
            largest_cell(found.accuracy_m, length),
            largest_cell(found.repeatability_m, length),
            largest_cell(found.heading_accuracy_rad, DEGREES),
            largest_cell(found.heading_repeatability_rad, DEGREES),
        )
        for found in sorted(results.at_marks, key=lambda found: found.mark)
    )
    columns = (
        Column("mark", align="left"),
        Column("estimator", align="left"),
        Column("visits"),
        Column("bias x", length.symbol),
        Column("bias y", length.symbol),
        Column("accuracy", length.symbol),
        Column("repeatability", length.symbol),
        Column("heading accuracy", "deg"),
        Column("heading repeatability", "deg"),
    )
    return TextTable("Marks visited more than once", columns, rows, note=_NOTE)


def marks_in_doubt(results: Results, system: UnitSystem) -> Iterator[str]:
    """Yield a sentence per mark that every estimator misses alike."""
    length = error_length(system)
    for doubt in results.marks_in_doubt:
        bounds = interval_text((doubt.low_m, doubt.high_m), length)
        yield (
            f"Every estimator, with fixes and without, puts mark {plain_text(doubt.mark)} off by {bounds} "
            f"{length.symbol} in {doubt.axis}, and not the other marks: survey it again."
        )
