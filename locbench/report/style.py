"""Colours, line styles and markers of the pictures, and how pictures become SVG texts.

The palette is the one of Okabe & Ito, "Color Universal Design" (2008), without its yellow, which fades on white. Every
estimator also has its own line style and marker, so that a black-and-white print tells them apart.
"""

import io
import itertools
import warnings
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.ticker import FuncFormatter

from locbench.report.numbers import DisplayUnit, plain_text

__all__ = [
    "GREY",
    "HURT_COLOUR",
    "Style",
    "add_legend",
    "drawing_style",
    "error_axis",
    "estimator_styles",
    "figure_svg",
    "label_axes",
    "new_figure",
    "shortened",
    "written",
]

GREY = "#6e6e6e"
HURT_COLOUR = "#D55E00"
# An error below this would be drawn at the bottom edge: no survey of a practice floor resolves it.
_SMALLEST_DRAWN_M = 0.001
_LONGEST_IN_A_LEGEND = 32
_COLOURS = ("#D55E00", "#56B4E9", "#0072B2", "#E69F00", "#009E73", "#CC79A7")
# seven line styles and five markers against six colours: combinations repeat only after 210 estimators
_LINES: tuple[Any, ...] = (
    "--",
    (0, (1, 1.2)),
    "-",
    "-.",
    (0, (6, 1.5)),
    (0, (4, 1.2, 1, 1.2, 1, 1.2)),
    (0, (2, 2)),
)
_MARKERS = ("s", "^", "o", "D", "v")

# its type lists every setting by name in some releases of matplotlib and none in others
_SETTINGS: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 10.0,
    "axes.titlesize": 11.0,
    "axes.labelsize": 10.0,
    "axes.edgecolor": "#333333",
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "legend.fontsize": 9.0,
    "legend.framealpha": 0.9,
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "figure.facecolor": "white",
    "savefig.facecolor": "white",
    "svg.fonttype": "path",
    "svg.hashsalt": "locbench",
    "path.simplify": True,
    "text.usetex": False,
    "axes.formatter.useoffset": False,
}


@dataclass(frozen=True)
class Style:
    """How one estimator is drawn in every picture; a greater `layer` lies on top."""

    colour: str
    line: Any
    marker: str
    width: float = 1.3
    layer: float = 3.0


def estimator_styles(names: Iterable[str]) -> dict[str, Style]:
    """Return a style per estimator, by its place in the list."""
    looks = zip(itertools.cycle(_COLOURS), itertools.cycle(_LINES), itertools.cycle(_MARKERS), strict=False)
    return {name: Style(*look, *_weight(name)) for name, look in zip(names, looks, strict=False)}


def _weight(name: str) -> tuple[float, float]:
    """Return line width and layer: the smooth line of dead reckoning stays visible on top of noisy ones."""
    if name == "tags_only":
        return 1.1, 2.5
    return (1.3, 3.4) if name == "dead_reckoning" else (1.3, 3.0)


def drawing_style() -> AbstractContextManager[None]:
    """Return a context in which pictures are drawn; outside it matplotlib's settings are untouched."""
    return mpl.rc_context(_SETTINGS)


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure that belongs to nobody: no state of its own is kept by matplotlib."""
    return Figure(figsize=(width_in, height_in), layout="constrained")


def written(axes: Axes, x: float, y: float, text: str, **kwargs: Any) -> Artist:
    """Write user data on a picture as it is: a dollar sign is not a formula there."""
    return axes.text(x, y, plain_text(text), parse_math=False, **kwargs)


def shortened(text: str, longest: int = 50) -> str:
    """Return a name without its middle if it is longer than that: a title or a legend has no room for more."""
    if len(text) <= longest:
        return text
    tail = (longest - 1) // 2
    return f"{text[: longest - 1 - tail]}…{text[-tail:]}"


def label_axes(axes: Axes, title: str, x_label: str, y_label: str) -> None:
    """Set title and axis labels, user data in them taken literally."""
    axes.set_title(plain_text(title), parse_math=False)
    axes.set_xlabel(plain_text(x_label), parse_math=False)
    axes.set_ylabel(plain_text(y_label), parse_math=False)


def add_legend(owner: Axes | Figure, handles: Sequence[Artist], labels: Sequence[str], **kwargs: Any) -> Legend:
    """Add a legend whose labels are taken literally, also with a leading underscore or a dollar sign in them.

    Very long ones are shortened in the middle; the tables have them in full.
    """
    legend: Legend = owner.legend(list(handles), [f"entry {index}" for index in range(len(labels))], **kwargs)
    for entry, label in zip(legend.get_texts(), labels, strict=True):
        entry.set_parse_math(False)
        entry.set_text(shortened(plain_text(label), _LONGEST_IN_A_LEGEND))
    return legend


def error_axis(axes: Axes, errors_m: Sequence[float | None], unit: DisplayUnit) -> None:
    """Give the axes a logarithmic error axis with plain numbers: a flipped tag and a good fix differ hundredfold."""
    shown = unit.shown(errors_m)
    floor = _SMALLEST_DRAWN_M / unit.factor
    # limits first: a scale that had to find its own would complain about errors that are all zero
    axes.set_ylim(floor, max(10.0 * floor, 1.6 * float(np.max(shown[np.isfinite(shown)], initial=0.0))))
    axes.set_yscale("log", nonpositive="clip")
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def figure_svg(figure: Figure) -> str:
    """Return the figure as the text of an SVG file; the same figure gives the same text."""
    stream = io.StringIO()
    with drawing_style(), warnings.catch_warnings():
        # a name in a script the font lacks is drawn as boxes; the tables have it in full
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return stream.getvalue()
