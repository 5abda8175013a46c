"""What tags alone can tell: how far a fix lies from what was believed just before."""

from locbench.report.numbers import DEGREES, error_length
from locbench.report.text_tables import Column, TextTable, label_cell, number_cell
from locbench.results import SessionResult
from locbench.units import UnitSystem

__all__ = ["residuals_table"]

RESIDUAL_CAUTION = (
    "A residual judges tags and estimator together: what both share, such as a tag hung in the wrong place, is not in "
    "it, and a wrong fix is. It is no error of the pose."
)


def residuals_table(session: SessionResult, system: UnitSystem) -> TextTable:
    """Return one row per estimator of a log whose only reference are its tags; no rows for any other log."""
    length = error_length(system)
    rows = tuple(
        (
            label_cell(name),
            number_cell(result.tag_residuals.residual_rms_m, length),
            number_cell(result.tag_residuals.residual_median_m, length),
            number_cell(result.tag_residuals.residual_heading_rms_rad, DEGREES),
        )
        for name, result in session.estimators.items()
        if session.evidence == "C" and result.tag_residuals is not None
    )
    columns = (
        Column("estimator", align="left"),
        Column("residual", f"RMS {length.symbol}"),
        Column("residual", f"half below {length.symbol}"),
        Column("heading", "RMS deg"),
    )
    return TextTable("Fix against the belief just before", columns, rows, note=RESIDUAL_CAUTION)
