"""The trust map: how far off detections are over range and view angle. Results in, a picture out."""

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from locbench.camera.components import Component
from locbench.report.camera_tables import shown_components, unit_of
from locbench.report.style import drawing_style, figure_svg, label_axes, new_figure
from locbench.results import CameraRecord, TrustRecord

__all__ = ["plot_trust_map", "trust_map_svg"]

_TITLES = {
    Component.ALONG: "along the line of sight",
    Component.ACROSS: "across the line of sight",
    Component.HEADING: "heading",
    Component.RANGE: "range",
    Component.BEARING: "bearing",
}
_PANEL_IN, _HEIGHT_IN = 4.2, 4.6
# One hue from light to dark: it stays an order for colour-blind readers and in grey print.
_COLOURS = "Blues"
_DARK = 0.55


def trust_map_svg(record: CameraRecord) -> str:
    """Return the trust map as the text of an SVG file."""
    return figure_svg(plot_trust_map(record))


def plot_trust_map(record: CameraRecord) -> Figure:
    """Draw one panel per component: a cell per range and view angle, with its RMS and how many detections it is of."""
    names = shown_components(record)
    with drawing_style():
        figure = new_figure(_PANEL_IN * max(len(names), 1), _HEIGHT_IN)
        figure.suptitle(
            "Trust map: RMS of detections as logged, wrong ones left out. In each cell the RMS, below it how many "
            "(wrong ones after the stroke)",
            fontsize=9.0,
        )
        for place, name in enumerate(names):
            _draw(figure.add_subplot(1, len(names), place + 1), record.trust_map, name)
    return figure


def _draw(axes: Axes, cells: Sequence[TrustRecord], name: Component) -> None:
    symbol, factor = unit_of(name)
    largest = max((cell.rms[name] for cell in cells if name in cell.rms), default=1.0)
    shade = Normalize(0.0, largest)
    for cell in cells:
        _draw_cell(axes, cell, name, factor, shade)
    degree = float(np.radians(1.0))
    axes.set_xlim(0.0, max((cell.range_high_m for cell in cells), default=1.0))
    axes.set_ylim(0.0, max((cell.view_high_rad for cell in cells), default=degree) / degree)
    axes.grid(visible=False)
    label_axes(axes, f"{_TITLES[name]}, RMS in {symbol}", "range in m", "view angle in deg (0 is face on)")


def _draw_cell(axes: Axes, cell: TrustRecord, name: Component, factor: float, shade: Normalize) -> None:
    degree = float(np.radians(1.0))
    low, high = cell.view_low_rad / degree, cell.view_high_rad / degree
    value = cell.rms.get(name)
    level = 0.0 if value is None else float(shade(value))
    axes.add_patch(
        Rectangle(
            (cell.range_low_m, low),
            cell.range_high_m - cell.range_low_m,
            high - low,
            facecolor=colormaps[_COLOURS](level) if value is not None else "white",
            edgecolor="#333333",
            linewidth=0.6,
            hatch=None if value is not None else "//",
        )
    )
    decimals = 2 if factor != 0.001 else 0
    rms = "too few" if value is None else f"{value / factor:.{decimals}f}"
    axes.text(
        (cell.range_low_m + cell.range_high_m) / 2.0,
        (low + high) / 2.0,
        f"{rms}\n{cell.count}/{cell.outliers}",
        ha="center",
        va="center",
        fontsize=7.0,
        color="white" if level > _DARK else "black",
    )
