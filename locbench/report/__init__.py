"""Shows results: in a terminal, as CSV, as pictures, as one HTML page. Computes nothing beyond layout and units.

Names are loaded on first use, so that the terminal does not wait for the plotting library.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from locbench.report.advice import where_to_look_next
    from locbench.report.html import report_html
    from locbench.report.miss_plots import plot_misses
    from locbench.report.plots import plot_drift, plot_field
    from locbench.report.tables import csv_tables
    from locbench.report.terminal import print_evaluation
    from locbench.report.time_plots import plot_error_over_time
    from locbench.report.wording import headline
    from locbench.report.writing import write_evaluation

__all__ = [
    "csv_tables",
    "headline",
    "plot_drift",
    "plot_error_over_time",
    "plot_field",
    "plot_misses",
    "print_evaluation",
    "report_html",
    "where_to_look_next",
    "write_evaluation",
]

_HOMES = {
    "csv_tables": "tables",
    "headline": "wording",
    "plot_drift": "plots",
    "plot_error_over_time": "time_plots",
    "plot_field": "plots",
    "plot_misses": "miss_plots",
    "print_evaluation": "terminal",
    "report_html": "html",
    "where_to_look_next": "advice",
    "write_evaluation": "writing",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
