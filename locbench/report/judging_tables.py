"""The tables of what fixes did to the aim, and of what they were judged by."""

from collections.abc import Iterator

from locbench.report.numbers import (
    DEGREES,
    MILLISECONDS,
    MISSING,
    PLAIN,
    SECONDS,
    SHARE_PERCENT,
    number_text,
    plain_text,
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
from locbench.results import CorrectionSummary, EstimatorResult, GoalCorrections, SessionResult

__all__ = ["aim_table", "reference_table", "verdicts_cell"]


def verdicts_cell(fixes: CorrectionSummary | GoalCorrections) -> Cell:
    """Return the four counts of verdicts with strokes between them, or a dash with the reason."""
    counts = (fixes.helped, fixes.hurt, fixes.neutral, fixes.undecided)
    if all(count is None for count in counts):
        return Cell(MISSING, fixes.why.get("helped"))
    return Cell("/".join(MISSING if count is None else str(count) for count in counts))


def aim_table(session: SessionResult) -> TextTable:
    """Return one row per estimator and goal: time on target, what fixes did to the aim, and how the turret followed."""
    rows = tuple(row for name, result in session.estimators.items() for row in _aim_rows(name, result))
    columns = (
        Column("estimator", align="left"),
        Column("goal", align="left"),
        Column("on target", "% of time"),
        Column("helped/hurt", "/neutral/undecided"),
        Column("aim kick", "RMS deg"),
        Column("aim kick", "largest deg"),
        Column("to follow", "longest ms"),
    )
    return without_empty_columns(TextTable("What fixes did to the aim", columns, rows))


def _aim_rows(name: str, result: EstimatorResult) -> Iterator[tuple[Cell, ...]]:
    shares = {target.goal: target.share for target in result.on_target}
    fixes = {} if result.corrections is None else {goal.goal: goal for goal in result.corrections.goals}
    for goal in dict.fromkeys([*shares, *fixes]):
        share = number_cell(shares[goal], SHARE_PERCENT) if goal in shares else NOTHING
        # without a share and without fixes there is nothing to say of this aim
        if goal in fixes or share.text != MISSING:
            yield (label_cell(name), label_cell(goal), share, *_kick_cells(fixes.get(goal)))


def _kick_cells(goal: GoalCorrections | None) -> tuple[Cell, ...]:
    if goal is None:
        return (NOTHING,) * 4
    return (
        verdicts_cell(goal),
        number_cell(goal.kick_rms_rad, DEGREES),
        largest_cell(goal.kick_max_rad, DEGREES),
        Cell(number_text(goal.follow_max_s, MILLISECONDS), goal.why.get("follow_max_s")),
    )


def reference_table(session: SessionResult) -> TextTable:
    """Return one row per interval between marks: whether odometry closes there; no rows with a dense truth."""
    intervals = [] if session.reference is None else session.reference.intervals
    rows = tuple(
        (
            Cell(f"{plain_text(interval.from_place)} to {plain_text(interval.to_place)}"),
            Cell(f"{number_text(interval.start_s, SECONDS)}–{number_text(interval.end_s, SECONDS)}"),
            Cell(number_text(interval.chi_square / interval.degrees_of_freedom, PLAIN)),
            count_cell(interval.degrees_of_freedom),
            Cell("broken" if interval.broken else "yes", interval.why),
        )
        for interval in intervals
    )
    columns = (
        Column("from one mark to the next", align="left"),
        Column("time", "s"),
        Column("squared miss", "honest 1"),
        Column("degrees", "of freedom"),
        Column("closes", align="left"),
    )
    return TextTable("Does odometry close between the marks", columns, rows)
