"""For how much of the time a tag was in view, and the longest stretch without one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.odometry import Motion
from locbench.session import Detections, Measured, Severity, Stretch
from locbench.units import Dimension, format_clock, format_quantity

__all__ = ["TagView", "tag_view", "tag_view_diagnosis"]

# As for odometry: more than five usual periods without a picture of a tag is a time without tags.
_GAP_PERIODS = 5.0
# So long, driving, most robots of this trade lose more than a shot can bear. Common practice, no source.
_LONG_S, _DRIVEN_M = 20.0, 1.0


@dataclass(frozen=True)
class TagView:
    """Share of the time with a tag in view (detections no more than five usual periods apart), longest time without."""

    share_of_time: float
    longest_without_s: float
    longest_without_from_s: float


def tag_view(detections: Detections, stretches: Sequence[Stretch]) -> TagView:
    """Return how the detections cover the stretches; at least one stretch is needed."""
    captured_s = np.unique(detections.captured_s)
    usual_s = float(np.median(np.diff(captured_s))) if len(captured_s) > 1 else 0.0
    begins, ends = (np.concatenate(sides) for sides in zip(*(_gaps(captured_s, one) for one in stretches), strict=True))
    gaps_s = ends - begins
    total_s = sum(stretch.end_s - stretch.start_s for stretch in stretches)
    longest = int(np.argmax(gaps_s))
    return TagView(
        share_of_time=float(np.sum(gaps_s[gaps_s <= _GAP_PERIODS * usual_s])) / total_s,
        longest_without_s=float(gaps_s[longest]),
        longest_without_from_s=float(begins[longest]),
    )


def _gaps(captured_s: FloatArray, stretch: Stretch) -> tuple[FloatArray, FloatArray]:
    """Return begin and end of the times between detections, the ends of the stretch among them."""
    inside = captured_s[(captured_s >= stretch.start_s) & (captured_s <= stretch.end_s)]
    edges = np.concatenate([[stretch.start_s], inside, [stretch.end_s]])
    return edges[:-1], edges[1:]


def tag_view_diagnosis(view: TagView, motion: Motion, file: str) -> Diagnosis:
    """Return what the time without tags means: a note, or a warning where the robot drove far without."""
    span_s = view.longest_without_from_s + np.array([0.0, view.longest_without_s])
    driven_m = float(np.diff(np.interp(span_s, motion.time_s, motion.path_length_m))[0])
    long = view.longest_without_s > _LONG_S and driven_m > _DRIVEN_M
    return Diagnosis(
        code=LogFault.TAG_VIEW,
        severity=Severity.WARNING if long else Severity.NOTE,
        where=file,
        evidence=f"A tag is in view {100.0 * view.share_of_time:.0f} % of the time; the longest stretch without one is "
        f"{view.longest_without_s:.1f} s, from {format_clock(view.longest_without_from_s)} on, over "
        f"{format_quantity(driven_m, Dimension.LENGTH)}.",
        meaning="There the pose rests on dead reckoning alone, whatever the fusion settings say.",
        remedy="Drive so that the camera looks at a tag more often, or hang one where the robot spends this time."
        if long
        else "Nothing, if dead reckoning holds that long.",
        measured=(
            Measured("share_of_time", view.share_of_time),
            Measured("longest_without", view.longest_without_s, dimension=Dimension.TIME),
            Measured("driven_without", driven_m, dimension=Dimension.LENGTH),
        ),
    )
