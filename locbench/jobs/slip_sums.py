"""Sums over all slips found: per pod, by how much the odometry errs while doubted, drift, and steady contradictions."""

from collections.abc import Sequence

import numpy as np

from locbench.arrays import FloatArray, runs_of
from locbench.config import RobotConfig
from locbench.config.robot import SensorKind
from locbench.jobs.slip_stretches import StudiedStretch
from locbench.results import Estimated, EventCandidate, FactorRecord, PodSlip, SlipEvent
from locbench.slip.checkable import Checkable
from locbench.slip.cost import cost_of
from locbench.slip.study import Event

__all__ = ["doubted_factor", "gyro_drift", "pod_records", "steady_contradictions"]

_UNCHECKED = "nothing contradicts it, and neither tags nor marks told of a slip"
_NO_EVENTS = "no event was found, so there is nothing to tell it from"
_NONE_MET = "none of the events lies where the odometry is doubted"
# shares by which sensors contradict each other all through that are worth a word
_STEADY = 0.003
_MINUTE_S = 60.0


def pod_records(
    checks: Checkable, stretches: Sequence[StudiedStretch], events: Sequence[SlipEvent]
) -> dict[str, PodSlip]:
    """Return what each pod and driven wheel lost over all stretches."""
    layout = checks.layout
    duration = sum(float(one.motion.time_s[-1] - one.motion.time_s[0]) for one in stretches)
    travel = _travelled(stretches)
    return {
        name: _pod(name, layout.kind[index], travel.get(name, 0.0), bool(checks.detectable[index]), duration, events)
        for index, name in enumerate(layout.name)
        if layout.kind[index] is not SensorKind.GYRO
    }


def _travelled(stretches: Sequence[StudiedStretch]) -> dict[str, float]:
    total: dict[str, float] = {}
    for studied in stretches:
        rolled = np.sum(np.abs(np.diff(studied.sensors.reading, axis=0)), axis=0)
        for name, length in zip(studied.sensors.layout.name, rolled, strict=True):
            total[name] = total.get(name, 0.0) + float(length)
    return total


def _pod(
    name: str, kind: SensorKind, travel_m: float, checked: bool, duration_s: float, events: Sequence[SlipEvent]
) -> PodSlip:
    surely = [event for event in events if event.candidates == [name] and event.alone]
    possibly = [event for event in events if name in event.candidates]
    told = checked or bool(possibly)
    lost, per_metre = _lost(name, surely, travel_m)
    _, possible = _lost(name, possibly, travel_m)
    return PodSlip(
        kind=kind,
        travel=Estimated(value=travel_m, std=None, unit="m"),
        events=len(surely),
        possible_events=len(possibly),
        lost=lost if told else None,
        per_metre=per_metre if told else None,
        possible_per_metre=possible if told else None,
        share_of_time=_share(surely, duration_s) if told else None,
        possible_share_of_time=_share(possibly, duration_s) if told else None,
        why=None if told else _UNCHECKED,
    )


def _lost(name: str, events: Sequence[SlipEvent], travel_m: float) -> tuple[Estimated, Estimated | None]:
    """Return the travel lost in events if it was this pod each time, and per metre of its travel."""
    details = [_detail(name, event) for event in events]
    value = sum(abs(one.lost.value) for one in details)
    std = float(np.sqrt(sum((one.lost.std or 0.0) ** 2 for one in details)))
    lost = Estimated(value=value, std=std, unit="m")
    if travel_m <= 0.0:
        return lost, None
    return lost, Estimated(value=value / travel_m, std=std / travel_m, unit="1")


def _detail(name: str, event: SlipEvent) -> EventCandidate:
    return next(one for one in event.details if one.sensor == name)


def _share(events: Sequence[SlipEvent], duration_s: float) -> float | None:
    return sum(event.end_s - event.start_s for event in events) / duration_s if duration_s > 0.0 else None


def doubted_factor(robot: RobotConfig, stretches: Sequence[StudiedStretch]) -> FactorRecord:
    """Return by how much more odometry errs than its motion noise says while it is doubted.

    For each event that lies in a doubted stretch: its pose error e, with its own uncertainty, against the covariance C
    that the motion noise gives for that stretch; the factor is the root of the mean of e' C^-1 e / 3.
    """
    noise = robot.motion_noise.model_copy(update={"doubted_factor": 1.0})
    ratios, met, count, doubted_s = [], 0, 0, 0.0
    for studied in stretches:
        motion = studied.motion
        doubted_s += float(np.sum(motion.duration_s[motion.doubted]))
        runs = runs_of(motion.doubted)
        begin_s, end_s = motion.time_s[np.maximum(runs[:, 0] - 1, 0)], motion.time_s[runs[:, 1] - 1]
        for event in studied.events:
            count += 1
            inside = np.flatnonzero((begin_s <= event.last_s) & (end_s >= event.first_s))
            if len(inside):
                met += 1
                leg = motion.lookup.legs(begin_s[inside[:1]], end_s[inside[-1:]])
                ratios.append(_squared_ratio(event, studied, robot, leg.covariance(noise)[0]))
    if not ratios:
        return FactorRecord(
            factor=None, events=count, met=met, doubted_s=doubted_s, why=_NONE_MET if count else _NO_EVENTS
        )
    factor = max(1.0, float(np.sqrt(np.mean(ratios))))
    return FactorRecord(factor=float(f"{factor:.2g}"), events=count, met=met, doubted_s=doubted_s, why=None)


def _squared_ratio(event: Event, studied: StudiedStretch, robot: RobotConfig, spread: FloatArray) -> float:
    one, layout = event.candidates[0], studied.sensors.layout
    cost = cost_of(studied.log, robot, layout, one.sensor, one.lacks, event.span_of(0), np.zeros(3))
    error = cost.believed - cost.true
    share = 1.0 + (one.std / one.lacks) ** 2 if one.lacks else 1.0
    return float(error @ np.linalg.pinv(spread) @ error) * share / 3.0


def gyro_drift(stretches: Sequence[StudiedStretch]) -> Estimated | None:
    """Return by how much the gyro drifts in a minute as the pods tell it; None where nothing tells it."""
    told = [one.steps.gyro_drift for one in stretches if one.steps is not None and one.steps.gyro_drift is not None]
    if not told:
        return None
    weight = np.array([std**-2.0 for _, std in told])
    value = float(np.sum(weight * [drift for drift, _ in told]) / np.sum(weight))
    return Estimated(value=_MINUTE_S * value, std=_MINUTE_S * float(np.sum(weight) ** -0.5), unit="rad")


def steady_contradictions(studied: Sequence[Sequence[StudiedStretch]], names: Sequence[str]) -> list[str]:
    """Return a remark for every session whose sensors contradict each other all through the log."""
    said = []
    for stretches, name in zip(studied, names, strict=True):
        shares = [one.steps.steady_share for one in stretches if one.steps is not None]
        if shares and max(shares) > _STEADY:
            said.append(
                f'In "{name}" sensors contradict each other by {100.0 * max(shares):.1f} % of the travel all through '
                "the log. That is a worn wheel or a wrong constant, no slip, and was taken off: see locbench calibrate"
            )
    return said
