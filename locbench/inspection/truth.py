"""Whether the dense truth is one: it covers the run, and it is no copy of what it is to judge."""

from collections.abc import Sequence

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import SessionConfig
from locbench.config.session import PoseSource
from locbench.geometry import interpolate_poses, rigid_alignment
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.odometry import Motion, dead_reckon
from locbench.session import Measured, PoseTrack, Severity, Stretch
from locbench.units import Dimension, format_clock, format_quantity

__all__ = ["truth_faults"]

_COVERED = 0.95
# Two instruments never agree so well: those that watch a robot err by millimetres, gyros by tenths of a degree.
_SAME_HEADING_RAD = float(np.radians(0.02))
_SAME_SHARE_OF_PATH, _SAME_AT_LEAST_M, _SAME_AT_MOST_M = 1e-4, 0.0005, 0.002
# below these there is too little motion to tell
_TURNED_RAD, _DRIVEN_M, _ROWS = float(np.pi / 2.0), 1.0, 10


def truth_faults(
    truth: PoseTrack,
    source: PoseSource,
    motion: Motion,
    onboard: PoseTrack | None,
    stretches: Sequence[Stretch],
    config: SessionConfig,
) -> list[Diagnosis]:
    """Return what is wrong with the dense truth."""
    found = [
        _in_part(truth, source, stretches),
        _copy_of_onboard(truth, source, onboard, config),
        _copy_of_odometry(truth, source, motion, config),
    ]
    return [diagnosis for diagnosis in found if diagnosis is not None]


def _in_part(truth: PoseTrack, source: PoseSource, stretches: Sequence[Stretch]) -> Diagnosis | None:
    first, last = float(truth.time_s[0]), float(truth.time_s[-1])
    total = sum(stretch.end_s - stretch.start_s for stretch in stretches)
    covered = sum(max(0.0, min(last, one.end_s) - max(first, one.start_s)) for one in stretches)
    share = covered / total
    if share >= _COVERED:
        return None
    return Diagnosis(
        code=LogFault.TRUTH_IN_PART,
        severity=Severity.WARNING,
        where=source.file,
        evidence=f"The truth runs from {format_clock(first)} to {format_clock(last)} and covers "
        f"{100.0 * share:.0f} % of a run from {format_clock(stretches[0].start_s)} to "
        f"{format_clock(stretches[-1].end_s)}.",
        meaning="Errors, verdicts and shots are those of this part; the rest, often the end where drift is largest, "
        "is not judged.",
        remedy="Start the reference before the run and stop it after; check its clock if it should have run longer.",
        measured=(
            Measured("share", share),
            Measured("first", first, dimension=Dimension.TIME),
            Measured("last", last, dimension=Dimension.TIME),
        ),
    )


def _copy_of_onboard(
    truth: PoseTrack, source: PoseSource, onboard: PoseTrack | None, config: SessionConfig
) -> Diagnosis | None:
    if onboard is None or config.onboard is None:
        return None
    pose = interpolate_poses(onboard.time_s, onboard.pose, onboard.flagged, truth.time_s)
    known = np.isfinite(pose[:, 0])
    path_m = _path(truth.pose[known])
    if np.sum(known) < _ROWS or path_m < _DRIVEN_M:
        return None
    rms = float(np.sqrt(np.mean(np.sum((pose[known, :2] - truth.pose[known, :2]) ** 2, axis=1))))
    if rms > _same_m(path_m):
        return None
    shown, driven = (format_quantity(length, Dimension.LENGTH) for length in (rms, path_m))
    return Diagnosis(
        code=LogFault.TRUTH_IS_ONBOARD,
        severity=Severity.ERROR,
        where=f"{source.file} and {config.onboard.file}",
        evidence=f"The truth differs from the pose that the robot itself believed by {shown} RMS over {driven}.",
        meaning="The robot's own pose is no evidence of where it was: every error measured against it is worthless.",
        remedy="Take [truth] out of session.toml, and lay out surveyed marks.",
        measured=(Measured("difference_rms", rms, dimension=Dimension.LENGTH),),
    )


def _path(pose: FloatArray) -> float:
    return float(np.sum(np.linalg.norm(np.diff(pose[:, :2], axis=0), axis=1)))


def _same_m(path_m: float) -> float:
    return float(np.clip(_SAME_SHARE_OF_PATH * path_m, _SAME_AT_LEAST_M, _SAME_AT_MOST_M))


def _copy_of_odometry(truth: PoseTrack, source: PoseSource, motion: Motion, config: SessionConfig) -> Diagnosis | None:
    reckoned = dead_reckon(motion, np.zeros(3))
    pose = interpolate_poses(motion.time_s, reckoned, np.zeros(len(reckoned), dtype=bool), truth.time_s)
    known = np.isfinite(pose[:, 0])
    if np.sum(known) < _ROWS:
        return None
    pose, true = pose[known], truth.pose[known]
    where = f"{source.file} and {config.odometry.file}"
    path_m = float(motion.path_length_m[-1])
    off = float(np.sqrt(rigid_alignment(pose[:, :2], true[:, :2]).mean_squared_residual))
    if path_m > _DRIVEN_M and off < _same_m(path_m):
        return _positions_copied(off, path_m, where)
    turned = float(motion.turning_rad[-1])
    heading = np.isfinite(true[:, 2])
    if turned < _TURNED_RAD or np.sum(heading) < _ROWS:
        return None
    apart = _headings_apart(truth.time_s[known][heading], pose[heading, 2], true[heading, 2])
    return _headings_copied(apart, turned, where) if apart < _SAME_HEADING_RAD else None


def _headings_apart(time_s: FloatArray, one: FloatArray, other: FloatArray) -> float:
    """Return the RMS difference of two headings; a constant one, and a steady one such as a bias taken off, is none."""
    difference = np.unwrap(np.unwrap(other) - np.unwrap(one))
    since = time_s - time_s[0]
    trend = np.polynomial.Polynomial.fit(since, difference, 1)(since)
    return float(np.sqrt(np.mean((difference - trend) ** 2)))


def _positions_copied(off_m: float, path_m: float, where: str) -> Diagnosis:
    return Diagnosis(
        code=LogFault.TRUTH_IS_ODOMETRY,
        severity=Severity.ERROR,
        where=where,
        evidence=f"Laid over each other, truth and odometry differ by {format_quantity(off_m, Dimension.LENGTH)} "
        f"RMS over {format_quantity(path_m, Dimension.LENGTH)}: no two instruments agree so well.",
        meaning="Odometry judged by itself looks perfect: every error, drift and verdict of this session is worthless.",
        remedy="Take [truth] out of session.toml, or name the table of the instrument that watched the robot.",
        measured=(
            Measured("difference_rms", off_m, dimension=Dimension.LENGTH),
            Measured("path", path_m, dimension=Dimension.LENGTH),
        ),
    )


def _headings_copied(apart_rad: float, turned_rad: float, where: str) -> Diagnosis:
    return Diagnosis(
        code=LogFault.TRUTH_HEADING_IS_ODOMETRY,
        severity=Severity.WARNING,
        where=where,
        evidence=f"The truth's headings are the odometry's: they differ by {np.degrees(apart_rad):.2g} deg RMS over "
        f"{turned_rad / (2.0 * np.pi):.1f} turns, an offset and a steady drift aside.",
        meaning="Heading errors of dead reckoning look like none, and those of fusions like their distance from it; "
        "position errors are not touched.",
        remedy="Take heading out of [truth]; then headings are judged at marks only.",
        measured=(
            Measured("difference_rms", apart_rad, dimension=Dimension.ANGLE),
            Measured("turned", turned_rad, dimension=Dimension.ANGLE),
        ),
    )
