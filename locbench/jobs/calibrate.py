"""`locbench calibrate`: the constants of odometry and camera that some drives determine, and what they gain."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from locbench import __version__
from locbench.arrays import FloatArray
from locbench.calibration.changes import robot_edits, session_edits
from locbench.calibration.constants import MOUNT_KINDS, ConstantKind
from locbench.calibration.determining import Calibrated, Estimate, calibrated
from locbench.calibration.drive import Places
from locbench.calibration.driven import driven
from locbench.calibration.held_out import HeldOut, held_out_errors
from locbench.calibration.outlying import Outlying, outlying
from locbench.calibration.reading import Logged, Set, gathered
from locbench.calibration.redundancy import Whole
from locbench.calibration.surveyed import SurveyedPlaces
from locbench.calibration.undetermined import untold
from locbench.config import FusionConfig, load_config
from locbench.config.edits import ChangedFile, EditedFile
from locbench.errors import ConfigError
from locbench.geometry import wrap_angle
from locbench.jobs.sessions import (
    SharedKey,
    changed_file,
    examined_session,
    lines_for_each_session,
    refuse_different_robots,
    refuse_different_values,
    refuse_repeated_sessions,
    remarks_on_logged_mount,
)
from locbench.results import Calibration, HeldOutError, ParameterRecord, Undetermined
from locbench.session import EvidenceLevel, Examination, Session

__all__ = ["CalibratedSessions", "calibrate", "logged_session", "reconciling"]

_Unit = Literal["m", "rad", "s", "1"]
_UNITS: Mapping[ConstantKind, _Unit] = {
    ConstantKind.WHEEL_DIAMETER: "m",
    ConstantKind.LEVER_ARM: "m",
    ConstantKind.MOUNT_X: "m",
    ConstantKind.MOUNT_Y: "m",
    ConstantKind.ROLLING_DIRECTION: "rad",
    ConstantKind.MOUNT_YAW: "rad",
    ConstantKind.GYRO_LAG: "s",
    ConstantKind.LATENCY: "s",
    ConstantKind.TRAVEL_SCALE: "1",
    ConstantKind.TURN_SCALE: "1",
}
_OF_CAMERA = MOUNT_KINDS | {ConstantKind.LATENCY}
# a start that the drives tell this much better than it was known before counts as determined
_BETTER = 0.8
_NOISIER = 1.25
# a shift of more tolerances than this is no matter of calibration
_FAR = 4.0
_POSE: tuple[tuple[str, _Unit], ...] = (("x", "m"), ("y", "m"), ("heading", "rad"))


@dataclass(frozen=True)
class CalibratedSessions:
    """What a calibration found, and the files with the constants it determined."""

    calibration: Calibration
    changed_files: tuple[ChangedFile, ...]


def calibrate(locations: Sequence[Path]) -> CalibratedSessions:
    """Return the constants that some sessions of one robot determine.

    Parameters
    ----------
    locations
        Session folders, or their session.toml files.

    Raises
    ------
    ConfigError
        If a session or a file it names is missing, malformed or impossible, if the sessions are of different robots or
        have different lags, or if one is named twice or has neither marks nor truth nor tags.
    SessionError
        If a table cannot be used.
    """
    examined = [examined_session(location) for location in locations]
    refuse_different_robots(examined)
    refuse_repeated_sessions(examined)
    refuse_different_values(examined, (SharedKey.HEADING_LAG, SharedKey.TAGS_OFFSET))
    logged = [logged_session(one) for one in examined]
    fitted = gathered(logged)
    with reconciling(str(examined[0].files.session)):
        found = calibrated(fitted)
        held_out, why = _held_out(fitted, logged)
    worth_copying = _worth_copying(found, held_out)
    calibration = Calibration(
        locbench=__version__,
        sessions=[one.session.name for one in logged],
        evidence=_evidence([one.session for one in logged]),
        parameters={**_constant_records(found.estimates), **_start_records(found)},
        undetermined=[
            Undetermined(parameters=list(one.names), why=one.why, next_run=one.next_run)
            for one in untold(found, driven(fitted))
        ],
        rms_before_m=None if held_out is None else held_out.before_m,
        rms_after_m=None if held_out is None else held_out.after_m,
        held_out=held_out,
        why=why,
        uncertainty_factor=float(np.sqrt(found.factor)),
        remarks=[*_remarks(found), *_remarks_on_copying(examined, worth_copying)],
    )
    return CalibratedSessions(calibration, tuple(_changed_files(examined, worth_copying)))


@contextmanager
def reconciling(where: str) -> Iterator[None]:
    """Name the session whose numbers leave nothing to solve inside the block.

    Raises
    ------
    ConfigError
        If they do.
    """
    try:
        with np.errstate(over="raise", invalid="raise"):
            yield
    except (np.linalg.LinAlgError, FloatingPointError, RuntimeError, ValueError) as error:
        raise ConfigError(
            f"no constants bring the parts of this log together ({error})",
            where=where,
            remedy="Look at the log first: locbench inspect",
        ) from error


def logged_session(examined: Examination) -> Logged:
    """Return a session as a calibration takes it.

    Raises
    ------
    ConfigError
        If it has neither marks nor truth nor tags.
    """
    session = examined.session
    assert session is not None
    if session.evidence is EvidenceLevel.NOTHING:
        raise ConfigError(
            "nothing to calibrate against: the session has neither marks nor truth nor tags",
            where=str(examined.files.session),
            remedy="Drive over surveyed marks, see locbench runsheet --kind straight and --kind spin",
        )
    files = examined.files.fusion
    fusion = load_config(files[0], FusionConfig) if files else FusionConfig(name="calibration")
    return Logged(session, examined.config, examined.files.field, fusion)


def _evidence(sessions: Iterable[Session]) -> Literal["A", "B", "C"]:
    """Return the best that any of the sessions has."""
    levels = {session.evidence for session in sessions}
    if EvidenceLevel.DENSE_TRUTH in levels:
        return "A"
    return "B" if EvidenceLevel.SURVEYED_MARKS in levels else "C"


def _held_out(fitted: Set, logged: Sequence[Logged]) -> tuple[HeldOutError | None, dict[str, str]]:
    errors = held_out_errors(fitted)
    if errors is not None:
        return _held_out_record(errors), {}
    tags_only = all(one.session.evidence is EvidenceLevel.TAGS_ONLY for one in logged)
    reason = "there are no marks and no truth" if tags_only else "there are too few marks, or too little truth,"
    words = f"{reason} to leave some out of the fit and try its constants on them"
    return None, {"rms_before_m": words, "rms_after_m": words}


def _held_out_record(errors: HeldOut) -> HeldOutError:
    return HeldOutError(count=len(errors.before_m), before_m=_rms(errors.before_m), after_m=_rms(errors.after_m))


def _rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _constant_records(estimates: Sequence[Estimate]) -> dict[str, ParameterRecord]:
    records = {}
    for one in estimates:
        shift = one.constant.absolute(one.shift)
        records[one.constant.name] = ParameterRecord(
            nominal=one.constant.nominal,
            estimate=one.constant.nominal + shift,
            std=abs(one.constant.absolute(one.std)) if one.determined else None,
            unit=_UNITS[one.constant.kind],
            determined=one.determined,
            shift=shift,
        )
    return records


def _start_records(found: Calibrated) -> dict[str, ParameterRecord]:
    """Return where each drive really began; of two drives of one session the second is numbered."""
    records: dict[str, ParameterRecord] = {}
    fitted = found.fit.fitted
    for drive, knots, plain_std in zip(
        fitted.drives, found.fit.guess.knots, Whole(found.fit).start_stds(), strict=True
    ):
        name, number = f"start.{drive.session}", 2
        while f"{name}.x" in records:
            name, number = f"start.{drive.session} ({number})", number + 1
        before, known = drive.start.pose[0], _known_before(drive.start, fitted.surveyed)
        std = np.sqrt(found.factor) * plain_std
        shift = knots[0] - before
        shift[2] = float(wrap_angle(shift[2]))
        for place, (key, unit) in enumerate(_POSE):
            sure = bool(std[place] < _BETTER * known[place])
            moved = float(shift[place]) if sure else 0.0
            records[f"{name}.{key}"] = ParameterRecord(
                nominal=float(before[place]),
                estimate=float(before[place]) + moved,
                std=float(std[place]) if sure else None,
                unit=unit,
                determined=sure,
                shift=moved,
            )
    return records


def _known_before(start: Places, surveyed: SurveyedPlaces) -> FloatArray:
    """Return (3,) how sure a start was before: on a mark, by that mark's survey and by how the robot was put there."""
    place = int(start.survey[0])
    survey = np.zeros(3) if place < 0 else surveyed.survey_std[place]
    return np.asarray(np.nan_to_num(np.hypot(start.std[0], survey), nan=np.inf))


def _remarks(found: Calibrated) -> list[str]:
    remarks = []
    if not found.fit.converged:
        remarks.append("the fit did not settle: the constants may be off by more than their uncertainty; drive again")
    if found.factor > 1.0:
        remarks.append(
            f"odometry and references contradict each other more than their noise says; all uncertainties are "
            f"{np.sqrt(found.factor):.1f} times larger for it"
        )
    remarks += [
        f"{one.constant.name} is off by far more than wear or a loose screw explain: look for a fault of the set-up "
        "first, locbench inspect"
        for one in found.estimates
        if one.determined and abs(one.shift) > _FAR * one.constant.tolerance
    ]
    for one in outlying(found.fit):
        remarks += _remarks_on(one)
    return remarks


def _worth_copying(found: Calibrated, held_out: HeldOutError | None) -> list[Estimate]:
    """Return the constants to copy: without those of the odometry where references left out come no nearer by them.

    Where drives contradict each other the camera's are no better founded.
    """
    if held_out is None or held_out.is_nearer:
        return list(found.estimates)
    return [one for one in found.estimates if found.factor == 1.0 and one.constant.kind in _OF_CAMERA]


def _remarks_on_copying(examined: Sequence[Examination], estimates: Sequence[Estimate]) -> list[str]:
    """Return what a reader has to know, or to write, beside the lines to copy."""
    remarks = lines_for_each_session(examined, session_edits(estimates, examined[0].config))
    mounts = [one.constant.of for one in estimates if one.determined and one.constant.kind in MOUNT_KINDS]
    return [*remarks, *(remarks_on_logged_mount(examined, mounts[0]) if mounts else [])]


def _remarks_on(one: Outlying) -> list[str]:
    remarks = []
    if len(one.visit_s):
        when = ", ".join(f"{time:.1f} s" for time in one.visit_s)
        remarks.append(f'in "{one.session}" visits to marks contradict the rest and count less: at {when}')
    if len(one.odometry_s):
        when = ", ".join(f"{begin:.1f}-{end:.1f} s" for begin, end in one.odometry_s)
        remarks.append(f'in "{one.session}" odometry contradicts the rest and counts less: {when}')
    if one.detections:
        remarks.append(f'in "{one.session}" {one.detections} of {one.offered} detections are outliers and count less')
    if one.wheel_noise > _NOISIER:
        remarks.append(
            f'in "{one.session}" pods contradict each other {one.wheel_noise:.1f} times as much as their '
            "along_per_metre says, which is reckoned with"
        )
    return remarks


def _changed_files(examined: Sequence[Examination], estimates: Sequence[Estimate]) -> list[ChangedFile]:
    """Return the robot file with the determined constants, and the session file if there is only one."""
    first = examined[0]
    assert first.session is not None
    edits = robot_edits(estimates, first.session.robot)
    if len(examined) == 1:
        edits = (*edits, *session_edits(estimates, first.config))
    changed = [changed_file(first, file, edits) for file in (EditedFile.ROBOT, EditedFile.SESSION)]
    return [one for one in changed if one.edits]
