"""Slips as pictures: contradictions over time, and where on the floor it happened. Results in, artists out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter

from locbench.report.floor_plot import draw_floor, figure_of, fit_to_floor, floor_axes, write_beside
from locbench.report.numbers import floor_length
from locbench.report.slip_tables import event_numbers
from locbench.report.slip_words import what_happened
from locbench.report.style import (
    GREY,
    Style,
    add_legend,
    drawing_style,
    estimator_styles,
    figure_svg,
    label_axes,
    new_figure,
    shortened,
)
from locbench.results import SlipEvent, SlipRecord, SlipSession
from locbench.slip.kinds import SlipChannel
from locbench.units import UnitSystem

__all__ = ["MapArtists", "TimelineArtists", "plot_parity", "plot_slip_map", "slip_pictures"]

_SIZE_IN = (10.0, 4.6)
# contradictions below this share of the limit are noise, whatever their size
_LOWEST = 0.01
_SPANS = {
    SlipChannel.PARITY: ("#9ecae1", None),
    SlipChannel.TAGS: ("#fdd0a2", "////"),
    SlipChannel.MARKS: ("#dadaeb", "...."),
    SlipChannel.COUNTER: ("#fcbba1", "xxxx"),
}
_HALO = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.6}
_LEGEND_PLACE = {"loc": "upper left", "bbox_to_anchor": (1.01, 1.0)}
# area of a marker in points squared: a slip that cost nothing, and each metre more
_LEAST_AREA, _AREA_PER_M, _MOST_AREA = 30.0, 1500.0, 500.0


@dataclass(frozen=True)
class TimelineArtists:
    """What `plot_parity` drew: a line per set of sensors, and a span per event, in their order."""

    figure: Figure
    axes: Axes
    lines: tuple[Line2D, ...]
    spans: tuple[Patch, ...]


@dataclass(frozen=True)
class MapArtists:
    """What `plot_slip_map` drew: the path, and for each set of candidates its events."""

    figure: Figure
    axes: Axes
    path: Line2D
    points: dict[str, PathCollection]


def slip_pictures(record: SlipRecord) -> dict[str, str]:
    """Return name and SVG text of two pictures per session, numbered in the order of the sessions."""
    pictures = {}
    for number, session in enumerate(record.sessions, start=1):
        if session.parity:
            pictures[f"slip_timeline_{number}.svg"] = figure_svg(plot_parity(record, session).figure)
        pictures[f"slip_map_{number}.svg"] = figure_svg(plot_slip_map(record, session).figure)
    return pictures


def _events_of(record: SlipRecord, session: SlipSession) -> list[SlipEvent]:
    return [event for event in record.events if event.session == session.name]


def plot_parity(record: SlipRecord, session: SlipSession) -> TimelineArtists:
    """Draw by how much sensors contradict each other over time, over the limit, with the events.

    Parameters
    ----------
    record, session
        What was found, and of which session.
    """
    numbers = event_numbers(record.events)
    with drawing_style():
        figure = new_figure(*_SIZE_IN)
        axes = figure.subplots()
        spans, legend = _draw_spans(axes, _events_of(record, session), session.start_s, numbers)
        names = [" or ".join(series.sensors) for series in session.parity]
        styles: dict[str, Style] = estimator_styles(names)
        lines = []
        for series, name in zip(session.parity, names, strict=True):
            times = [point.time_s - session.start_s for point in series.points]
            ratio = np.maximum([point.ratio for point in series.points], _LOWEST)
            style = styles[name]
            (line,) = axes.plot(times, ratio, color=style.colour, linestyle=style.line, linewidth=1.0, zorder=3.0)
            lines.append(line)
        limit = axes.axhline(1.0, color="black", linewidth=1.4, linestyle=(0, (6, 3)), zorder=4.0)
        axes.set_yscale("log")
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axes.set_ylim(bottom=_LOWEST)
        axes.set_xlim(0.0, _last_time(session))
        title = f"{shortened(session.name)}: contradiction of the sensors, over the limit of a false alarm"
        label_axes(axes, title, "time since start [s]", "chi-square over its limit")
        handles: list[Artist] = [*lines, limit, *(handle for handle, _ in legend)]
        add_legend(axes, handles, [*names, "limit", *(text for _, text in legend)], **_LEGEND_PLACE)
    return TimelineArtists(figure, axes, tuple(lines), tuple(spans))


def _last_time(session: SlipSession) -> float:
    last = max(series.points[-1].time_s for series in session.parity)
    return max(last - session.start_s, 1e-3)


def _draw_spans(
    axes: Axes, events: Sequence[SlipEvent], start_s: float, numbers: dict[int, int]
) -> tuple[list[Patch], list[tuple[Artist, str]]]:
    """Draw when events were, each with its number; return them and what the legend says of them."""
    spans: list[Patch] = []
    by_channel: dict[SlipChannel, Patch] = {}
    for place, event in enumerate(events):
        colour, hatch = _SPANS[event.channel]
        begin, end = event.start_s - start_s, event.end_s - start_s
        span = axes.axvspan(begin, max(end, begin + 0.05), facecolor=colour, edgecolor=GREY, hatch=hatch, linewidth=0.4)
        spans.append(span)
        by_channel.setdefault(event.channel, span)
        # neighbours stand at different heights, so that their numbers can be read
        axes.annotate(
            str(numbers[id(event)]),
            (begin, 1.0),
            (2.0, -10.0 - 10.0 * (place % 3)),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            fontsize=8.0,
            zorder=6.0,
            bbox=_HALO,
        )
    return spans, [(span, f"event, told by {channel.value}") for channel, span in by_channel.items()]


def plot_slip_map(record: SlipRecord, session: SlipSession) -> MapArtists:
    """Draw where on the floor things slipped: markers as large as the pose error that they cost."""
    numbers = event_numbers(record.events)
    unit = floor_length(UnitSystem.METRIC)
    events = _events_of(record, session)
    with drawing_style():
        axes = floor_axes(session.map.field)
        legend = draw_floor(axes, session.map.field, unit)
        x = unit.shown([point.x_m for point in session.map.path])
        y = unit.shown([point.y_m for point in session.map.path])
        (path,) = axes.plot(x, y, color=GREY, linewidth=0.9, zorder=2.0)
        legend.append((path, "path as believed"))
        groups: dict[str, list[SlipEvent]] = {}
        for event in events:
            groups.setdefault(what_happened(event), []).append(event)
        points = {}
        for (name, mine), style in zip(groups.items(), estimator_styles(groups).values(), strict=True):
            points[name] = axes.scatter(
                [event.x_m / unit.factor for event in mine],
                [event.y_m / unit.factor for event in mine],
                s=[min(_LEAST_AREA + _AREA_PER_M * event.position_error_m, _MOST_AREA) for event in mine],
                marker=style.marker,
                facecolor=style.colour,
                edgecolor="black",
                linewidth=0.7,
                alpha=0.85,
                zorder=5.0,
            )
            legend.append((points[name], name))
        for event in events:
            write_beside(axes, event.x_m / unit.factor, event.y_m / unit.factor, str(numbers[id(event)]))
        fit_to_floor(axes, session.map.field, unit)
        title = f"{shortened(session.name, 34)}: where it slipped; size: pose error"
        label_axes(axes, title, f"x [{unit.symbol}]", f"y [{unit.symbol}]")
        add_legend(axes, [h for h, _ in legend], [t for _, t in legend], **_LEGEND_PLACE)
    return MapArtists(figure_of(axes), axes, path, points)
