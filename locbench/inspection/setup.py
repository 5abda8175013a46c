"""Faults of the set-up, found by setting the parts of a log beside each other: the entry to this half of the room."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from locbench.config import SessionConfig
from locbench.config.tag_sources import RobotPoseSource
from locbench.inspection.change import Amount, Change, Part, builds_on
from locbench.inspection.diagnosis import Diagnosis, Measured, SetupFault
from locbench.inspection.frame_changes import straightness
from locbench.inspection.limits import is_notable
from locbench.inspection.misfit import Misfit, misfit
from locbench.inspection.recorded import Recorded, recorded
from locbench.inspection.rest import resting_drift, without_drift
from locbench.inspection.scatter import is_scatter
from locbench.inspection.search import Found, search
from locbench.inspection.setup_words import diagnose, disagreement
from locbench.session import Session, Severity
from locbench.units import Dimension, format_quantity

__all__ = ["setup_faults"]

# a healthy log leaves less than 2 per independent comparison
_CONTRADICTS = 3.0
_STRAIGHT_M, _STRAIGHT_SHARE = 0.10, 0.05
_LONG_M = 0.5
_FEWEST_ROWS = 20


def setup_faults(session: Session, config: SessionConfig) -> list[Diagnosis]:
    """Return what is wrong with the set-up, the most telling first; nothing for a healthy one.

    Parameters
    ----------
    session
        The log; of several stretches the first is looked at.
    config
        Its session file, for the names of files, columns and keys.
    """
    if _rows(session) < _FEWEST_ROWS:
        return []
    log = recorded(session, config)
    found = list(search(log))
    left = found[-1].after if found else misfit(log)
    drifting = _gyro_drift(left, session)
    if drifting is not None:
        found.append(drifting)
    diagnoses = [_in_turn(found[:index], one, session, config) for index, one in enumerate(found)]
    if not found:
        diagnoses += _unexplained(left)
    return diagnoses + _too_straight((drifting.after if drifting is not None else left).log, config)


def _in_turn(before: Sequence[Found], found: Found, session: Session, config: SessionConfig) -> Diagnosis:
    """Return a diagnosis; without keys to change as long as those of one found before it have to be written first."""
    diagnosis = diagnose(found, session, config)
    if not any(builds_on(found.change, earlier.change) for earlier in before):
        return diagnosis
    remedy = f"{diagnosis.remedy} Make the change above first and inspect again: what to write here depends on it."
    return replace(diagnosis, remedy=remedy, edits=())


def _rows(session: Session) -> int:
    first, times = session.stretches[0], np.unique(session.odometry.time_s)
    return int(np.sum((times >= first.start_s) & (times <= first.end_s)))


def _gyro_drift(before: Misfit, session: Session) -> Found | None:
    robot = session.robot
    per_minute = robot.motion_noise.heading_per_minute if robot.gyro is None else robot.gyro.heading_per_minute
    drift = resting_drift(before.log, per_minute / math.sqrt(60.0))
    if drift is None:
        return None
    change = Change(
        SetupFault.GYRO_DRIFT,
        Part.GYRO,
        without_drift(before.log, drift.rate_rad_per_s),
        amounts={Amount.RATE: drift.rate_rad_per_s},
        stds={Amount.RATE: drift.std_rad_per_s},
    )
    if not is_notable(change):
        return None
    after = before.of(change.log)
    return Found(change, before, after, before.cost - before.cost_of(after))


def _unexplained(left: Misfit) -> list[Diagnosis]:
    """Return what no single change of the set-up mends."""
    bad = [
        (kind, residuals)
        for kind, residuals in left.residuals.items()
        if residuals.independent >= 4.0 and residuals.mean_cost > _CONTRADICTS and not is_scatter(left, kind)
    ]
    if not bad:
        return []
    listed = "; ".join(disagreement(kind, residuals) for kind, residuals in bad)
    measured = [
        Measured(f"{kind.name.lower()}_{name}", value, dimension=dimension)
        for kind, residuals in bad
        for name, value, dimension in (
            ("position", residuals.typical_m, Dimension.LENGTH),
            ("heading", residuals.typical_rad, Dimension.ANGLE),
        )
        if math.isfinite(value)
    ]
    return [
        Diagnosis(
            code=SetupFault.UNEXPLAINED,
            severity=Severity.WARNING,
            where="session.toml",
            evidence=f"In the median, {listed}: more than drift and noise explain, and no single change of the set-up "
            "that was tried mends it.",
            meaning="Several things may be wrong at once, or a sensor fails; no figure of this log is to be relied on.",
            remedy="Check units, signs and frames one by one on a short straight drive and a turn by hand, with the "
            "floor clear and one person at the stop button.",
            measured=tuple(measured),
        )
    ]


def _too_straight(log: Recorded, config: SessionConfig) -> list[Diagnosis]:
    """Return a note if a table without headings holds a path from which a mirrored frame could not be told."""
    tables = []
    if log.fixes is not None and isinstance(config.tags, RobotPoseSource):
        tables.append((config.tags.file, log.fixes.pose))
    if log.truth is not None and config.truth is not None:
        tables.append((config.truth.file, log.truth.pose))
    found = []
    for file, pose in tables:
        points = pose[np.isfinite(pose[:, 0]), :2]
        if len(points) < 2 or np.any(np.isfinite(pose[:, 2])):
            continue
        along, across = straightness(points)
        if along > _LONG_M and across < max(_STRAIGHT_M, _STRAIGHT_SHARE * along):
            found.append(_straight(file, along, across))
    return found


def _straight(file: str, along: float, across: float) -> Diagnosis:
    return Diagnosis(
        code=SetupFault.PATH_TOO_STRAIGHT,
        severity=Severity.NOTE,
        where=file,
        evidence=f"The path is too straight to tell: its positions spread {_length(along)} along a line and "
        f"{_length(across)} across it, and the table has no headings.",
        meaning="Whether its frame is mirrored cannot be seen from this drive.",
        remedy="Drive a curve, or log headings.",
        measured=(
            Measured("along", along, dimension=Dimension.LENGTH),
            Measured("across", across, dimension=Dimension.LENGTH),
        ),
    )


def _length(length_m: float) -> str:
    return format_quantity(length_m, Dimension.LENGTH)
