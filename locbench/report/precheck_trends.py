"""Figures of checks over time, with their limits. Results in, a picture out."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from locbench.report.numbers import plain_text
from locbench.report.style import GREY, HURT_COLOUR, drawing_style, figure_svg, label_axes, new_figure
from locbench.results import HistoryEntry, Precheck, days_of
from locbench.statistics import Conformity

__all__ = ["plot_trends", "trends_svg"]

_COLUMNS = 3
_PANEL_IN = (3.6, 2.3)
# of a normal distribution, half the width of a 95 % interval in standard uncertainties
_HALF_95 = 1.96


def trends_svg(check: Precheck, history: Sequence[HistoryEntry]) -> str:
    """Return the trends as the text of an SVG file."""
    return figure_svg(plot_trends(check, history))


def plot_trends(check: Precheck, history: Sequence[HistoryEntry]) -> Figure:
    """Draw one panel per figure that today has: its value at every check with its 95 % interval and its limits then.

    Checks against other baselines may have had other limits.
    """
    names = [one.name for one in check.lines if one.value is not None]
    rows = max(1, -(-len(names) // _COLUMNS))
    with drawing_style():
        figure = new_figure(_PANEL_IN[0] * _COLUMNS, _PANEL_IN[1] * rows + 0.5)
        figure.suptitle(
            "Checks over time: values with 95 % intervals; dashes: each check's limits; a cross: it failed them",
            fontsize=10.0,
        )
        for place, name in enumerate(names):
            axes = figure.add_subplot(rows, _COLUMNS, place + 1)
            _draw(axes, name, [one for one in history if one.name == name])
    return figure


def _draw(axes: Axes, name: str, entries: Sequence[HistoryEntry]) -> None:
    unit = entries[-1].unit if entries else ""
    alike = sorted((one for one in entries if one.unit == unit), key=lambda one: days_of(one.date))
    days = _days([one.date for one in alike])
    axes.errorbar(
        days,
        [one.value for one in alike],
        yerr=[_HALF_95 * one.std for one in alike],
        fmt="o-",
        color="#0072B2",
        markersize=4.0,
        linewidth=1.0,
        capsize=2.5,
    )
    failed = [(day, one.value) for day, one in zip(days, alike, strict=True) if one.verdict is Conformity.FAIL]
    if failed:
        axes.plot(
            [day for day, _ in failed], [value for _, value in failed], "x", color=HURT_COLOUR, markersize=9.0, mew=2.0
        )
    for limits in ([one.low for one in alike], [one.high for one in alike]):
        # a mark at every check, for one alone has no line
        axes.plot(
            days,
            [np.nan if one is None else one for one in limits],
            "_--",
            color=GREY,
            linewidth=1.0,
            markersize=12.0,
            drawstyle="steps-mid",
        )
    axes.tick_params(labelsize=7.0)
    axes.margins(x=0.1)
    axes.xaxis.set_major_locator(MaxNLocator(4))
    label_axes(axes, plain_text(name), "days since the first check", "" if unit == "1" else unit)
    axes.title.set_fontsize(8.5)


def _days(dates: Sequence[str]) -> list[float]:
    """Return days since the first of ISO dates."""
    days = [days_of(date) for date in dates]
    return [day - min(days) for day in days]
