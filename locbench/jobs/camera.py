"""`locbench camera`: what detections are worth, and what is wrong with all of them alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from locbench import __version__
from locbench.arrays import FloatArray
from locbench.camera.components import Component
from locbench.camera.noise import noise_model
from locbench.camera.observed import Observed, joined, observed, reference_variance, with_told_components
from locbench.camera.spread import model_variance
from locbench.camera.systematic import Shift, Systematic, systematic
from locbench.config import FusionConfig, load_config
from locbench.config.camera_edits import Found, clock_edit, mount_edits, range_scale_edit, tag_edits
from locbench.config.edits import ChangedFile, Edit, EditedFile
from locbench.config.fusion import TagNoise
from locbench.errors import ConfigError
from locbench.jobs.camera_records import (
    bin_records,
    flip_share,
    kept_noise,
    mount_records,
    noise_records,
    range_scale_record,
    reasons,
    slow_records,
    tag_record,
    trust_records,
)
from locbench.jobs.judging import judges_of
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
from locbench.odometry import measure_motion
from locbench.results import (
    CameraRecord,
    Estimated,
)
from locbench.session import EvidenceLevel, Examination, Session, believed_camera

__all__ = ["CameraStudy", "camera"]

_FEWEST = 40
# of a tag that surely hangs aside, the places that are set right
_MOVED = 2.0
# less is as well as anyone builds; common practice, no source
_NOTABLE = {
    Shift.X: 0.005,
    Shift.Y: 0.005,
    Shift.YAW: float(np.radians(0.3)),
    Shift.LATENCY: 0.003,
    Shift.RANGE_SCALE: 0.003,
}
# legs of a dense truth, along which it may err alike
_TRUTH_LEG_S = 1.0


@dataclass(frozen=True)
class CameraStudy:
    """What was found, the noise as a fusion file's, and the files with what is surely wrong set right."""

    record: CameraRecord
    noise: TagNoise
    changed_files: tuple[ChangedFile, ...]


def camera(locations: Sequence[Path]) -> CameraStudy:
    """Return what the detections of some sessions of one robot are worth.

    Parameters
    ----------
    locations
        Session folders, or their session.toml files.

    Raises
    ------
    ConfigError
        If a session or a file it names is missing, malformed or impossible; if the sessions differ in robot, field,
        kind of detections, camera, offset of its stamps or range scale; if one is named twice, or has no
        detections, or neither marks nor truth.
    SessionError
        If a table cannot be used.
    """
    examined = [examined_session(location) for location in locations]
    sessions = [_checked(one) for one in examined]
    refuse_repeated_sessions(examined)
    refuse_different_robots(examined)
    _refuse_different_cameras(examined)
    refuse_different_values(examined, (SharedKey.TAGS_OFFSET, SharedKey.RANGE_SCALE))
    name, plane = believed_camera(examined[0].config.tags, sessions[0].robot)
    seen = _observed(sessions, plane, examined[0])
    start = _believed_noise(examined[0])
    common = systematic(seen, start)
    extra = reference_variance(seen)
    residual = _true_to_scale(seen, common)
    noise = noise_model(seen, residual, extra, start)
    wrong = np.asarray(noise.wrong > 0.5)
    edits = _edits(examined, name, common)
    std = np.sqrt(model_variance(seen, noise.noise, seen.range_m, seen.view_angle_rad) + noise.reference_scale * extra)
    record = CameraRecord(
        locbench=__version__,
        sessions=[session.name for session in sessions],
        reference=_reference(sessions),
        kind=seen.detections.kind.value,
        camera=name,
        detections=sum(len(session.detections or ()) for session in sessions),
        compared=len(seen),
        noise=noise_records(noise),
        kept_noise=kept_noise(seen, noise),
        latency_s=common.shift.get(Shift.LATENCY),
        latency_std_s=common.std.get(Shift.LATENCY),
        outlier_share=Estimated(value=noise.outlier_share, std=noise.outlier_std, unit="1"),
        flip_share=flip_share(seen, residual, std, noise.wrong),
        mount=mount_records(common),
        tags={str(tag): tag_record(shift) for tag, shift in common.tags.items()},
        range_scale=range_scale_record(common),
        beyond_chance=sorted(kind.value for kind in common.beyond_chance),
        slow=slow_records(seen, residual / std, noise.reference_scale * extra / std**2, wrong),
        bins=bin_records(seen, wrong),
        trust_map=trust_records(seen, wrong),
        why=reasons(common, noise, seen),
        remarks=_remarks(examined, name, edits),
    )
    return CameraStudy(record, noise.noise, tuple(_changed_files(examined, edits)))


def _checked(examined: Examination) -> Session:
    session = examined.session
    assert session is not None
    where = str(examined.files.session)
    if session.detections is None or not len(session.detections):
        raise ConfigError(
            "the session has no detections of tags", where=where, remedy="Name the table that has them in [tags]"
        )
    if session.evidence not in (EvidenceLevel.DENSE_TRUTH, EvidenceLevel.SURVEYED_MARKS):
        raise ConfigError(
            "nothing to judge the camera by: the session has neither marks nor truth",
            where=where,
            remedy="Drive over surveyed marks in view of tags, see locbench runsheet --kind camera",
        )
    return session


def _refuse_different_cameras(examined: Sequence[Examination]) -> None:
    first = examined[0]
    for other in examined[1:]:
        assert first.session is not None
        assert other.session is not None
        same = (
            first.session.field == other.session.field
            and first.session.detections is not None
            and other.session.detections is not None
            and first.session.detections.kind is other.session.detections.kind
            and believed_camera(first.config.tags, first.session.robot)[0]
            == believed_camera(other.config.tags, other.session.robot)[0]
        )
        if not same:
            raise ConfigError(
                "the sessions differ in field, camera or kind of detections",
                where=str(other.files.session),
                remedy="Study one camera on one field at a time",
            )


def _believed_noise(examined: Examination) -> TagNoise:
    files = examined.files.fusion
    return load_config(files[0], FusionConfig).tag_noise if files else TagNoise()


def _observed(sessions: Sequence[Session], mount: FloatArray, first: Examination) -> Observed:
    parts = []
    for session in sessions:
        assert session.detections is not None
        whole = measure_motion(session.odometry, session.robot)
        motions = [whole.within(stretch.start_s, stretch.end_s) for stretch in session.stretches]
        for motion, judge in zip(motions, judges_of(session, motions), strict=True):
            if judge is not None:
                ends = _leg_ends(session)
                parts.append(observed(session.detections, mount, session.field, motion, judge, ends))
    seen = with_told_components(joined(parts)) if parts else None
    if seen is None or len(seen) < _FEWEST or not seen.components:
        raise ConfigError(
            f"only {0 if seen is None else len(seen)} detections fall where marks or truth tell the robot's pose, "
            f"{_FEWEST} are needed",
            where=str(first.files.session),
            remedy="Stand on marks in view of tags, see locbench runsheet --kind camera; calibrate the odometry first "
            "if it does not close between marks",
        )
    return seen


def _leg_ends(session: Session) -> FloatArray:
    if session.truth is not None:
        return np.arange(float(session.truth.time_s[0]), float(session.truth.time_s[-1]), _TRUTH_LEG_S)
    return np.zeros(0) if session.marks is None else np.sort(session.marks.settled_s)


def _reference(sessions: Sequence[Session]) -> Literal["truth", "marks", "both"]:
    truths = [session.truth is not None for session in sessions]
    if all(truths):
        return "truth"
    return "both" if any(truths) else "marks"


def _true_to_scale(seen: Observed, common: Systematic) -> FloatArray:
    """Return what is left of the residuals, ranges in true metres: the noise is that of ranges already scaled."""
    residual = common.residual.copy()
    if Component.RANGE in seen.components:
        residual[:, seen.components.index(Component.RANGE)] /= 1.0 + common.shift.get(Shift.RANGE_SCALE, 0.0)
    return residual


def _to_set_right(common: Systematic, kind: Shift) -> bool:
    return kind in common.beyond_chance and abs(common.shift[kind]) > _NOTABLE[kind]


def _edits(examined: Sequence[Examination], name: str | None, common: Systematic) -> list[Edit]:
    """Return the keys that set right what is plainly wrong."""
    first = examined[0]
    session, source = first.session, first.config.tags
    assert session is not None
    assert source is not None
    edits: list[Edit] = []
    if name is not None:
        found: dict[str, Found] = {
            kind.value: (common.shift[kind], common.std[kind])
            for kind in (Shift.X, Shift.Y, Shift.YAW)
            if _to_set_right(common, kind)
        }
        edits += mount_edits(name, session.robot.cameras[name], found)
    for tag, moved in common.tags.items():
        if moved.hangs_wrong:
            shifts = {
                key: (float(shift), float(std))
                for key, shift, std in zip(("x", "y", "facing"), moved.shift, moved.std, strict=True)
                if abs(shift) > _MOVED * std
            }
            edits += tag_edits(session.field, tag, shifts)
    if _to_set_right(common, Shift.LATENCY):
        edits.append(clock_edit(source, (common.shift[Shift.LATENCY], common.std[Shift.LATENCY])))
    if _to_set_right(common, Shift.RANGE_SCALE):
        scale = range_scale_edit(source, (common.shift[Shift.RANGE_SCALE], common.std[Shift.RANGE_SCALE]))
        edits += [] if scale is None else [scale]
    return edits


def _changed_files(examined: Sequence[Examination], edits: Sequence[Edit]) -> list[ChangedFile]:
    """Return the files with the edits made; session keys only where there is one session."""
    files = [file for file in EditedFile if file is not EditedFile.SESSION or len(examined) == 1]
    changed = [changed_file(examined[0], file, edits) for file in files]
    return [one for one in changed if one.edits]


def _remarks(examined: Sequence[Examination], name: str | None, edits: Sequence[Edit]) -> list[str]:
    remarks = lines_for_each_session(examined, edits)
    if any(edit.file is EditedFile.ROBOT for edit in edits):
        remarks += remarks_on_logged_mount(examined, f"cameras.{name}")
    return remarks
