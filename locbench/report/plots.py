"""Pictures of one session: the floor and the drift. Tracks in, artists out; nothing is computed but units."""

import math
from dataclasses import dataclass

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse

from locbench.report.floor_plot import draw_floor, figure_of, fit_to_floor, floor_axes
from locbench.report.numbers import DisplayUnit, error_length, floor_length
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
)
from locbench.results import EstimatorTrack, SessionTracks
from locbench.units import UnitSystem

__all__ = ["DriftArtists", "FieldArtists", "plot_drift", "plot_field"]


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
        axes = floor_axes(session.field) if ax is None else ax
        unit = floor_length(system)
        legend: list[tuple[Artist, str]] = draw_floor(axes, session.field, unit)
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
        fit_to_floor(axes, session.field, unit)
        label_axes(axes, f"{shortened(session.name)}: paths on the floor", f"x [{unit.symbol}]", f"y [{unit.symbol}]")
        add_legend(axes, [h for h, _ in legend], [t for _, t in legend], loc="upper left", bbox_to_anchor=(1.01, 1.0))
    return FieldArtists(figure_of(axes), axes, reference, paths, ellipses, visits)


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
    return DriftArtists(figure_of(axes), axes, points)
