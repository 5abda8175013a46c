"""Where shots aimed from the believed poses would land, against the opening, one panel per goal and band."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from locbench.report.numbers import DisplayUnit, error_length, plain_text
from locbench.report.style import (
    GREY,
    Style,
    add_legend,
    drawing_style,
    estimator_styles,
    label_axes,
    new_figure,
    shortened,
    written,
)
from locbench.results import LandingPoint, Opening, SessionTracks
from locbench.units import UnitSystem

__all__ = ["MissArtists", "MissPanel", "plot_misses"]

_MOST_COLUMNS = 3
_PANEL_IN = 3.1
# A panel that had to show every wild shot would shrink the opening to a dot.
_WIDEST_IN_OPENINGS = 2.2
_MARGIN = 1.15


@dataclass(frozen=True)
class MissPanel:
    """One goal and band: the outlines, and the points per estimator; hollow ones are known not to enter cleanly."""

    axes: Axes
    outline: Line2D
    clean: Line2D | None
    filled: dict[str, PathCollection]
    hollow: dict[str, PathCollection]
    beyond: int


@dataclass(frozen=True)
class MissArtists:
    """What `plot_misses` drew, by (goal, band)."""

    figure: Figure
    panels: dict[tuple[str, str], MissPanel]


Landings = dict[tuple[str, str], dict[str, list[LandingPoint]]]


def _grouped(session: SessionTracks) -> Landings:
    """Return landing points by (goal, band) and estimator, nearest band first within a goal."""
    groups: Landings = {}
    for name, track in session.estimators.items():
        for point in track.landings:
            groups.setdefault((point.goal, point.band), {}).setdefault(name, []).append(point)
    goals = [opening.goal for opening in session.openings]

    def place(key: tuple[str, str]) -> tuple[int, float]:
        nearest = min(point.range_m for points in groups[key].values() for point in points)
        return (goals.index(key[0]) if key[0] in goals else len(goals), nearest)

    return {key: groups[key] for key in sorted(groups, key=place)}


def plot_misses(session: SessionTracks, system: UnitSystem, figure: Figure | None = None) -> MissArtists | None:
    """Draw landing points about each goal's centre, seen from the robot: left is left, up is beyond the goal.

    Parameters
    ----------
    session
        Its pictures' contents.
    system
        Units on the axes.
    figure
        An empty figure to draw on; None makes one.

    Returns
    -------
    MissArtists, or None if there is no landing point at a goal with an opening.
    """
    openings = {opening.goal: opening for opening in session.openings}
    groups = {key: points for key, points in _grouped(session).items() if key[0] in openings}
    if not groups:
        return None
    with drawing_style():
        columns = min(_MOST_COLUMNS, len(groups))
        rows = -(-len(groups) // columns)
        drawn_on = new_figure(_PANEL_IN * columns + 0.4, (_PANEL_IN + 0.2) * rows + 0.9) if figure is None else figure
        grid = drawn_on.subplots(rows, columns, squeeze=False)
        unit, styles = error_length(system), estimator_styles(session.estimators)
        half = _half_width(list(openings.values()), groups, unit)
        panels = {}
        for axes, (key, points) in zip(grid.flat, groups.items(), strict=False):
            panels[key] = _draw_panel(axes, key, openings[key[0]], points, styles, unit, half)
        for axes in list(grid.flat)[len(groups) :]:
            axes.set_axis_off()
        drawn_on.suptitle(plain_text(f"{shortened(session.name)}: where shots would land"), parse_math=False)
        handles, labels = _legend(list(panels.values()), styles)
        add_legend(drawn_on, handles, labels, loc="outside lower center", ncols=min(4, len(labels)))
    return MissArtists(drawn_on, panels)


def _half_width(openings: Sequence[Opening], groups: Landings, unit: DisplayUnit) -> float:
    """Return half the width of every panel: room for all points, but at most some widths of the opening."""
    outline = max(abs(value) for o in openings for value in (*o.outline_lateral_m, *o.outline_along_m)) / unit.factor
    farthest = max(
        max(abs(point.lateral_m), abs(point.along_m))
        for estimators in groups.values()
        for points in estimators.values()
        for point in points
    )
    return _MARGIN * min(max(outline, farthest / unit.factor), _WIDEST_IN_OPENINGS * outline)


def _draw_panel(
    axes: Axes,
    key: tuple[str, str],
    opening: Opening,
    landings: dict[str, list[LandingPoint]],
    styles: dict[str, Style],
    unit: DisplayUnit,
    half: float,
) -> MissPanel:
    (outline,) = axes.plot(
        unit.shown(opening.outline_lateral_m), unit.shown(opening.outline_along_m), color="black", linewidth=1.6
    )
    clean = None
    if opening.clean_lateral_m:
        (clean,) = axes.plot(
            unit.shown(opening.clean_lateral_m), unit.shown(opening.clean_along_m), "--", color=GREY, linewidth=1.3
        )
    axes.plot(0.0, 0.0, "+", color=GREY, markersize=8)
    filled, hollow = {}, {}
    for name, points in landings.items():
        filled[name] = _scatter(
            axes, [p for p in points if p.inside is not False], styles[name], unit, styles[name].colour
        )
        hollow[name] = _scatter(axes, [p for p in points if p.inside is False], styles[name], unit, "none")
    # lateral is positive to the left, so that the picture is what the robot sees
    axes.set_xlim(half, -half)
    axes.set_ylim(-half, half)
    axes.set_aspect("equal")
    axes.xaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    everything = [point for points in landings.values() for point in points]
    beyond = sum(max(abs(p.lateral_m), abs(p.along_m)) / unit.factor > half for p in everything)
    if beyond:
        halo = {"facecolor": "white", "edgecolor": GREY, "alpha": 0.9, "pad": 2.0}
        written(axes, 0.03, 0.03, f"{beyond} more outside this panel", transform=axes.transAxes, fontsize=8, bbox=halo)
    label_axes(
        axes,
        f"{shortened(key[0], 20)}, {shortened(key[1], 20)}",
        f"lateral, left is + [{unit.symbol}]",
        f"along, beyond is + [{unit.symbol}]",
    )
    return MissPanel(axes, outline, clean, filled, hollow, beyond)


def _scatter(axes: Axes, points: Sequence[LandingPoint], style: Style, unit: DisplayUnit, face: str) -> PathCollection:
    return axes.scatter(
        unit.shown([point.lateral_m for point in points]),
        unit.shown([point.along_m for point in points]),
        s=30,
        marker=style.marker,
        facecolor=face,
        edgecolor=style.colour if face == "none" else "black",
        linewidth=1.3 if face == "none" else 0.5,
        zorder=3.0,
    )


def _legend(panels: Sequence[MissPanel], styles: dict[str, Style]) -> tuple[list[Artist], list[str]]:
    shown = {name for panel in panels for name in panel.filled}
    handles: list[Artist] = []
    labels: list[str] = []
    for name, style in styles.items():
        if name in shown:
            marker = Line2D([], [], linestyle="none", marker=style.marker, color=style.colour, markeredgecolor="black")
            handles.append(marker)
            labels.append(name)
    if any(len(np.asarray(points.get_offsets())) for panel in panels for points in panel.hollow.values()):
        handles.append(Line2D([], [], linestyle="none", marker="o", color="none", markeredgecolor="black"))
        labels.append("hollow: not a clean entry")
    handles.append(panels[0].outline)
    labels.append("opening")
    clean = next((panel.clean for panel in panels if panel.clean is not None), None)
    if clean is not None:
        handles.append(clean)
        labels.append("centre must pass inside")
    return handles, labels
