"""The floor seen from above, under every picture that has one. Drawings in, artists out."""

import math

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from locbench.report.numbers import DisplayUnit, plain_text
from locbench.report.style import new_figure, written
from locbench.results import FieldDrawing, GoalDrawing

__all__ = ["draw_floor", "figure_of", "fit_to_floor", "floor_axes", "write_beside"]

_TICK_M = 0.12
_FLOOR_WIDTH_IN = 6.2
_LEGEND_WIDTH_IN = 2.5
# share of the floor's size; a flipped tag may throw a path much further out, which would shrink the floor
_MARGIN = 0.07
_HALO = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 0.8}


def figure_of(axes: Axes) -> Figure:
    """Return the figure that axes belong to."""
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


def floor_axes(field: FieldDrawing) -> Axes:
    """Return axes of a new figure with room for the floor and a legend beside it."""
    x_from, x_to, y_from, y_to = _view(field)
    tall = _FLOOR_WIDTH_IN * min(1.6, max(0.4, (y_to - y_from) / (x_to - x_from)))
    return new_figure(_FLOOR_WIDTH_IN + _LEGEND_WIDTH_IN, tall + 0.5).subplots()


def fit_to_floor(axes: Axes, field: FieldDrawing, unit: DisplayUnit) -> None:
    """Show the floor, the goals and a margin, lengths alike in both directions."""
    x_from, x_to, y_from, y_to = _view(field)
    axes.set_xlim(x_from / unit.factor, x_to / unit.factor)
    axes.set_ylim(y_from / unit.factor, y_to / unit.factor)
    axes.set_aspect("equal")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))


def draw_floor(axes: Axes, field: FieldDrawing, unit: DisplayUnit) -> list[tuple[Artist, str]]:
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
            write_beside(axes, at_x, at_y, mark.name)
        legend.append((marks, "mark"))
    return legend


def write_beside(axes: Axes, x: float, y: float, text: str) -> None:
    """Write a name beside a point, readable on top of lines."""
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
