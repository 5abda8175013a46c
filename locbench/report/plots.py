"""Pictures of one session: the floor and the drift. Tracks in, artists out; nothing is computed but units."""

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from locbench.report.numbers import DisplayUnit, error_length, floor_length, plain_text
from locbench.report.style import (
    GREY,
    Style,
    add_legend,
    drawing_style,
    error_axis,
    estimator_styles,
    label_axes,
    new_figure,
    shortened,
    written,
)
from locbench.results import EstimatorTrack, FieldDrawing, GoalDrawing, SessionTracks
from locbench.units import UnitSystem

__all__ = ["DriftArtists", "FieldArtists", "plot_drift", "plot_field"]

_TICK_M = 0.12
_FLOOR_WIDTH_IN = 6.2
_LEGEND_WIDTH_IN = 2.5
# share of the floor's size; a flipped tag may throw a path much further out, which would shrink the floor
_MARGIN = 0.07
_HALO = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.8}


@dataclass(frozen=True)
class FieldArtists:
    """What `plot_field` drew; `reference` is None without dense truth."""

    figure: Figure
    axes: Axes
    reference: Line2D | None
    paths: dict[str, Line2D]
    ellipses: dict[str, list[Ellipse]]
    visits: Line2D | None


@dataclass(frozen=True)
class DriftArtists:
    """What `plot_drift` drew: one group of points per estimator with segments."""

    figure: Figure
    axes: Axes
    points: dict[str, PathCollection]


def _figure_of(axes: Axes) -> Figure:
    figure = axes.figure
    if not isinstance(figure, Figure):
        raise TypeError("the axes must belong to a plain figure, not to a part of one")
    return figure


def _view(field: FieldDrawing) -> tuple[float, float, float, float]:
    """Return x from, x to, y from, y to of the picture in metres: the floor, the goals and a margin."""
    x = [field.x_from_m, field.x_to_m, *(value for goal in field.goals for value in goal.outline_x_m)]
    y = [field.y_from_m, field.y_to_m, *(value for goal in field.goals for value in goal.outline_y_m)]
    margin = _MARGIN * max(max(x) - min(x), max(y) - min(y))
    return min(x) - margin, max(x) + margin, min(y) - margin, max(y) + margin


def _floor_figure(field: FieldDrawing) -> Axes:
    x_from, x_to, y_from, y_to = _view(field)
    tall = _FLOOR_WIDTH_IN * min(1.6, max(0.4, (y_to - y_from) / (x_to - x_from)))
    return new_figure(_FLOOR_WIDTH_IN + _LEGEND_WIDTH_IN, tall + 0.5).subplots()


def plot_field(session: SessionTracks, system: UnitSystem, ax: Axes | None = None) -> FieldArtists:
    """Draw the floor from above: tags, marks, goals, the true path if known, and every estimator's path.

    Parameters
    ----------
    session
        Its pictures' contents.
    system
        Metres or feet on the axes.
    ax
        Where to draw; None makes a figure.
    """
    with drawing_style():
        axes = _floor_figure(session.field) if ax is None else ax
        unit = floor_length(system)
        legend: list[tuple[Artist, str]] = _draw_floor(axes, session.field, unit)
        reference = None
        if session.reference_x_m:
            x, y = unit.shown(session.reference_x_m), unit.shown(session.reference_y_m)
            (reference,) = axes.plot(x, y, color="black", linewidth=3.2, alpha=0.35, zorder=2.0)
            legend.append((reference, session.reference))
        paths, ellipses = {}, {}
        for name, style in estimator_styles(session.estimators).items():
            track = session.estimators[name]
            paths[name] = _draw_path(axes, track, style, unit)
            ellipses[name] = _draw_ellipses(axes, track, style, unit)
            legend.append((paths[name], name))
        visits = _draw_visits(axes, session, unit)
        if visits is not None:
            legend.append((visits, "stop on a mark"))
        if any(ellipses.values()):
            round_ring = Line2D([], [], linestyle="none", marker="o", color="none", markeredgecolor=GREY, markersize=7)
            legend.append((round_ring, "believed, 95 %"))
        x_from, x_to, y_from, y_to = _view(session.field)
        axes.set_xlim(x_from / unit.factor, x_to / unit.factor)
        axes.set_ylim(y_from / unit.factor, y_to / unit.factor)
        axes.set_aspect("equal")
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
        label_axes(axes, f"{shortened(session.name)}: paths on the floor", f"x [{unit.symbol}]", f"y [{unit.symbol}]")
        add_legend(axes, [h for h, _ in legend], [t for _, t in legend], loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return FieldArtists(_figure_of(axes), axes, reference, paths, ellipses, visits)


def _draw_floor(axes: Axes, field: FieldDrawing, unit: DisplayUnit) -> list[tuple[Artist, str]]:
    """Draw what does not move, and return its legend entries."""
    corner = (field.x_from_m / unit.factor, field.y_from_m / unit.factor)
    width, height = (field.x_to_m - field.x_from_m) / unit.factor, (field.y_to_m - field.y_from_m) / unit.factor
    axes.add_patch(Rectangle(corner, width, height, fill=False, edgecolor="black", linewidth=1.2, zorder=1.0))
    legend: list[tuple[Artist, str]] = []
    for goal in field.goals:
        _draw_goal(axes, goal, unit)
    if field.goals:
        legend.append((Polygon([(0, 0)], facecolor="#e8e8e8", edgecolor="black", hatch="////"), "goal"))
    if field.tags:
        legend.append((_draw_tags(axes, field, unit), "tag, tick where it faces"))
    if field.marks:
        x, y = unit.shown([mark.x_m for mark in field.marks]), unit.shown([mark.y_m for mark in field.marks])
        (marks,) = axes.plot(x, y, "+", color="black", markersize=11, markeredgewidth=1.4, zorder=5.0)
        for mark, at_x, at_y in zip(field.marks, x, y, strict=True):
            _beside(axes, at_x, at_y, mark.name)
        legend.append((marks, "mark"))
    return legend


def _beside(axes: Axes, x: float, y: float, text: str) -> None:
    axes.annotate(
        plain_text(text),
        (x, y),
        (7.0, 5.0),
        textcoords="offset points",
        parse_math=False,
        fontsize=8.5,
        zorder=6.0,
        bbox=_HALO,
    )


def _draw_goal(axes: Axes, goal: GoalDrawing, unit: DisplayUnit) -> None:
    outline = np.column_stack([unit.shown(goal.outline_x_m), unit.shown(goal.outline_y_m)])
    axes.add_patch(
        Polygon(outline, closed=True, facecolor="#e8e8e8", edgecolor="black", hatch="////", linewidth=1.0, zorder=1.5)
    )
    top = float(np.max(outline[:, 1]))
    written(
        axes, goal.x_m / unit.factor, top, goal.name, fontsize=8.5, ha="center", va="bottom", zorder=6.0, bbox=_HALO
    )


def _draw_tags(axes: Axes, field: FieldDrawing, unit: DisplayUnit) -> Line2D:
    x, y = unit.shown([tag.x_m for tag in field.tags]), unit.shown([tag.y_m for tag in field.tags])
    length = _TICK_M / unit.factor
    for tag, at_x, at_y in zip(field.tags, x, y, strict=True):
        toward_x, toward_y = math.cos(tag.facing_rad), math.sin(tag.facing_rad)
        axes.plot([at_x, at_x + length * toward_x], [at_y, at_y + length * toward_y], color="black", linewidth=1.4)
        # the number stands behind the tag, where no path runs
        behind = (at_x - 1.1 * length * toward_x, at_y - 1.1 * length * toward_y)
        written(axes, *behind, str(tag.id), fontsize=8.5, ha="center", va="center")
    (tags,) = axes.plot(x, y, "s", color="black", markersize=5.0, zorder=4.0)
    return tags


def _draw_path(axes: Axes, track: EstimatorTrack, style: Style, unit: DisplayUnit) -> Line2D:
    x, y = unit.shown(track.x_m), unit.shown(track.y_m)
    (line,) = axes.plot(x, y, color=style.colour, linestyle=style.line, linewidth=style.width, zorder=style.layer)
    return line


def _draw_ellipses(axes: Axes, track: EstimatorTrack, style: Style, unit: DisplayUnit) -> list[Ellipse]:
    drawn = []
    for ellipse in track.ellipses:
        patch = Ellipse(
            (ellipse.x_m / unit.factor, ellipse.y_m / unit.factor),
            2.0 * ellipse.semi_major_m / unit.factor,
            2.0 * ellipse.semi_minor_m / unit.factor,
            angle=math.degrees(ellipse.angle_rad),
            fill=False,
            edgecolor=style.colour,
            linewidth=1.0,
            zorder=3.5,
        )
        axes.add_patch(patch)
        drawn.append(patch)
    return drawn


def _draw_visits(axes: Axes, session: SessionTracks, unit: DisplayUnit) -> Line2D | None:
    if not session.visits:
        return None
    x, y = unit.shown([visit.x_m for visit in session.visits]), unit.shown([visit.y_m for visit in session.visits])
    (visits,) = axes.plot(x, y, "o", markerfacecolor="none", markeredgecolor="black", markersize=10, zorder=5.0)
    return visits


def plot_drift(session: SessionTracks, system: UnitSystem, ax: Axes | None = None) -> DriftArtists | None:
    """Draw the error gained over each segment against its length; None if no estimator has a segment.

    The error axis is logarithmic, so that tags alone do not press the others flat.

    Parameters
    ----------
    session
        Its pictures' contents.
    system
        Units on the axes.
    ax
        Where to draw; None makes a figure.
    """
    if not any(track.drift for track in session.estimators.values()):
        return None
    with drawing_style():
        axes = new_figure(7.4, 4.4).subplots() if ax is None else ax
        along, error = floor_length(system), error_length(system)
        points = {}
        for name, style in estimator_styles(session.estimators).items():
            drift = session.estimators[name].drift
            if drift:
                points[name] = axes.scatter(
                    along.shown([point.length_m for point in drift]),
                    error.shown([point.position_error_m for point in drift]),
                    s=34,
                    marker=style.marker,
                    facecolor=style.colour,
                    edgecolor="black",
                    linewidth=0.5,
                    alpha=0.85,
                )
        segments = [point for track in session.estimators.values() for point in track.drift]
        farthest = max(point.length_m for point in segments) / along.factor
        axes.set_xlim(0.0, 1.05 * farthest if farthest > 0.0 else 1.0)
        everything = [point.position_error_m for point in segments]
        error_axis(axes, everything, error)
        label_axes(
            axes,
            f"{shortened(session.name)}: error gained between references",
            f"driven between them [{along.symbol}]",
            f"position error gained [{error.symbol}]",
        )
        add_legend(axes, list(points.values()), list(points), loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return DriftArtists(_figure_of(axes), axes, points)
