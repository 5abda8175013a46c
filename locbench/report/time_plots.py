"""Position error over time: all estimators together, then each filter with its belief and its fixes."""

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from locbench.arrays import FloatArray
from locbench.report.numbers import DisplayUnit, error_length
from locbench.report.style import (
    HURT_COLOUR,
    Style,
    add_legend,
    drawing_style,
    error_axis,
    estimator_styles,
    label_axes,
    new_figure,
    shortened,
)
from locbench.results import CorrectionMarks, ErrorSeries, EstimatorTrack, SessionTracks
from locbench.units import UnitSystem

__all__ = ["ErrorArtists", "FilterPanel", "plot_error_over_time", "tick_times"]

_LEGEND_PLACE = {"loc": "upper left", "bbox_to_anchor": (1.01, 1.0)}
# Rows of the strip under a filter's panel, from the bottom.
_HURT_ROW, _TAKEN_ROW, _REFUSED_ROW = 0.0, 1.0, 2.0
_MOST_TICKS = 4000
_TIME_LABEL = "time since start [s]"


@dataclass(frozen=True)
class FilterPanel:
    """One filter's own panel, and the strip below it with a tick per fix in the rows refused, taken and hurt."""

    axes: Axes
    strip: Axes
    error: Line2D
    believed: Line2D | None
    accepted: Line2D
    refused: Line2D
    hurt: Line2D


@dataclass(frozen=True)
class ErrorArtists:
    """What `plot_error_over_time` drew: the common panel's lines, and a panel per filter.

    Time is drawn from `start_s` on, the log's first time on its own clock.
    """

    start_s: float
    figure: Figure
    axes: Axes
    errors: dict[str, Line2D]
    panels: dict[str, FilterPanel]


def tick_times(line: Line2D) -> FloatArray:
    """Return the times (K,) since the log's start at which a row of ticks was drawn."""
    return np.asarray(line.get_xdata(), dtype=float)[::3]


def _series(track: EstimatorTrack) -> ErrorSeries | None:
    return track.truth_error or track.mark_error


def _start(session: SessionTracks) -> float:
    """Return the first time in the session: an epoch clock would fill the axis with its digits."""
    times = [track.time_s for track in session.estimators.values()]
    times += [found.time_s for track in session.estimators.values() if (found := _series(track)) is not None]
    return min((part[0] for part in times if part), default=0.0)


def _since(start: float, times: list[float]) -> dict[str, list[float]]:
    return {"time_s": [time - start for time in times]}


def plot_error_over_time(
    session: SessionTracks, system: UnitSystem, figure: Figure | None = None
) -> ErrorArtists | None:
    """Draw the position errors of all estimators, and a panel per filter with its belief and its fixes.

    Parameters
    ----------
    session
        Its pictures' contents; errors against dense truth if there is one, else at the mark visits.
    system
        Units on the axes.
    figure
        An empty figure to draw on; None makes one.

    Returns
    -------
    ErrorArtists, or None if the session has no reference.
    """
    start = _start(session)
    series = {
        name: found.model_copy(update=_since(start, found.time_s))
        for name, track in session.estimators.items()
        if (found := _series(track)) is not None
    }
    if not any(found.time_s for found in series.values()):
        return None
    filters = [name for name in series if session.estimators[name].corrections is not None]
    with drawing_style():
        drawn_on = new_figure(9.0, 3.4 + 3.1 * len(filters)) if figure is None else figure
        ratios = [3.0, *([2.3, 0.8] * len(filters))]
        grid = drawn_on.subplots(len(ratios), 1, sharex=True, squeeze=False, height_ratios=ratios)
        rows: list[Axes] = list(grid[:, 0])
        unit, styles = error_length(system), estimator_styles(session.estimators)
        dense = any(track.truth_error is not None for track in session.estimators.values())
        kind = "against dense truth" if dense else "at the mark visits"
        everything = [value for found in series.values() for value in found.position_m]
        everything += [value for name in filters for value in series[name].believed_95_m]
        errors = {name: _draw_error(rows[0], found, styles[name], unit) for name, found in series.items()}
        error_axis(rows[0], everything, unit)
        title = f"{shortened(session.name)}: position error {kind}"
        label_axes(rows[0], title, _TIME_LABEL, f"error [{unit.symbol}]")
        add_legend(rows[0], list(errors.values()), list(errors), **_LEGEND_PLACE)
        panels = {}
        for name, axes, strip in zip(filters, rows[1::2], rows[2::2], strict=True):
            fixes = session.estimators[name].corrections
            if fixes is not None:
                shifted = fixes.model_copy(update=_since(start, fixes.time_s))
                panels[name] = _draw_filter((axes, strip), name, series[name], shifted, styles[name], unit)
                axes.set_ylim(rows[0].get_ylim())
        for axes in rows:
            axes.tick_params(labelbottom=True)
    return ErrorArtists(start, drawn_on, rows[0], errors, panels)


def _draw_error(axes: Axes, series: ErrorSeries, style: Style, unit: DisplayUnit) -> Line2D:
    few = len(series.time_s) <= 60
    (line,) = axes.plot(
        series.time_s,
        unit.shown(series.position_m),
        color=style.colour,
        linestyle=style.line,
        linewidth=style.width,
        marker=style.marker,
        markersize=5.0 if few else 4.5,
        markeredgecolor="black",
        markeredgewidth=0.4,
        markevery=1 if few else max(1, len(series.time_s) // 12),
        zorder=style.layer,
    )
    return line


def _draw_filter(
    pair: tuple[Axes, Axes],
    name: str,
    series: ErrorSeries,
    fixes: CorrectionMarks,
    style: Style,
    unit: DisplayUnit,
) -> FilterPanel:
    axes, strip = pair
    error = _draw_error(axes, series, style, unit)
    legend: list[tuple[Artist, str]] = [(error, "error")]
    believed = None
    radius = unit.shown(series.believed_95_m)
    if np.any(np.isfinite(radius)):
        (believed,) = axes.plot(
            series.time_s, radius, color="black", linestyle=(0, (5, 3)), linewidth=0.9, zorder=style.layer + 1.0
        )
        legend.append((believed, "believed, 95 %"))
    error_axis(axes, series.position_m, unit)
    label_axes(axes, f"{shortened(name)}: error, belief and fixes", "", f"error [{unit.symbol}]")
    add_legend(axes, [h for h, _ in legend], [t for _, t in legend], **_LEGEND_PLACE)
    accepted, refused, hurt = _draw_strip(strip, fixes)
    return FilterPanel(axes, strip, error, believed, accepted, refused, hurt)


def _draw_strip(strip: Axes, fixes: CorrectionMarks) -> tuple[Line2D, Line2D, Line2D]:
    """Draw a tick per fix in three rows; return those taken, refused and hurt."""
    time = np.array(fixes.time_s, dtype=float)
    taken = np.array([outcome == "accepted" for outcome in fixes.outcome], dtype=bool)
    hurt = np.array([verdict == "hurt" for verdict in fixes.verdict], dtype=bool)
    judged = any(verdict is not None for verdict in fixes.verdict)
    rows = (
        _ticks(strip, _distinguishable(time[taken]), _TAKEN_ROW, "black", 0.5),
        _ticks(strip, _distinguishable(time[~taken]), _REFUSED_ROW, "black", 0.5),
        _ticks(strip, _distinguishable(time[hurt]), _HURT_ROW, HURT_COLOUR, 1.1),
    )
    strip.set_yticks(
        [_HURT_ROW, _TAKEN_ROW, _REFUSED_ROW],
        labels=[
            f"hurt ({hurt.sum() if judged else 'unknown'})",
            f"taken ({taken.sum()})",
            f"refused ({(~taken).sum()})",
        ],
    )
    strip.set_ylim(_HURT_ROW - 0.6, _REFUSED_ROW + 0.6)
    strip.grid(visible=False, axis="y")
    label_axes(strip, "", _TIME_LABEL, "")
    return rows


def _distinguishable(times: FloatArray) -> FloatArray:
    """Return the times without those that would fall on the tick before: a long log has tens of thousands."""
    if len(times) <= _MOST_TICKS:
        return times
    places = np.floor((times - times.min()) / (np.ptp(times) or 1.0) * _MOST_TICKS)
    return times[np.unique(places, return_index=True)[1]]


def _ticks(strip: Axes, times: FloatArray, row: float, colour: str, width: float) -> Line2D:
    """Draw one line broken after every tick: thousands of separate marks would make a picture of many megabytes."""
    x = np.column_stack([times, times, np.full(len(times), np.nan)]).ravel()
    y = np.tile([row - 0.4, row + 0.4, np.nan], len(times))
    (line,) = strip.plot(x, y, color=colour, linewidth=width, solid_capstyle="butt")
    return line
