"""`locbench camera`: what detections are worth, and what is wrong with all of them alike."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from locbench import __version__
from locbench.arrays import BoolArray, FloatArray
from locbench.camera.binned import bins, trust_map
from locbench.camera.components import Component
from locbench.camera.flips import flipped
from locbench.camera.noise import NoiseModel, noise_model
from locbench.camera.observed import Observed, joined, observed, reference_variance, residuals
from locbench.camera.spread import model_variance
from locbench.camera.systematic import Shift, Systematic, TagShift, systematic
from locbench.camera.whiteness import correlation_time, slow_share
from locbench.config import FusionConfig, load_config
from locbench.config.camera_edits import Found, clock_edit, mount_edits, range_scale_edit, tag_edits
from locbench.config.edits import ChangedFile, Edit, EditedFile
from locbench.config.fusion import TagNoise
from locbench.errors import ConfigError
from locbench.jobs.judging import judges_of
from locbench.jobs.sessions import changed_file, examined_session, refuse_different_robots
from locbench.odometry import measure_motion
from locbench.results import (
    BiasAndSpread,
    CameraBin,
    CameraRecord,
    Estimated,
    SlowRecord,
    TagPlacement,
    TrustRecord,
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
_Unit = Literal["m", "rad", "s", "1"]


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
        kind of detections or camera; if one has no detections, or neither marks nor truth.
    SessionError
        If a table cannot be used.
    """
    examined = [examined_session(location) for location in locations]
    sessions = [_checked(one) for one in examined]
    refuse_different_robots(examined)
    _refuse_different_cameras(examined)
    name, plane = believed_camera(examined[0].config.tags, sessions[0].robot)
    seen = _observed(sessions, plane, examined[0])
    start = _believed_noise(examined[0])
    common = systematic(seen, start)
    extra = reference_variance(seen)
    residual = _true_to_scale(seen, common)
    noise = noise_model(seen, residual, extra, start)
    wrong = np.asarray(noise.wrong > 0.5)
    std = np.sqrt(model_variance(seen, noise.noise, seen.range_m, seen.view_angle_rad) + noise.reference_scale * extra)
    record = CameraRecord(
        locbench=__version__,
        sessions=[session.name for session in sessions],
        reference=_reference(sessions),
        kind=seen.detections.kind.value,
        camera=name,
        detections=sum(len(session.detections or ()) for session in sessions),
        compared=len(seen),
        noise=_noise_records(noise),
        latency_s=common.shift.get(Shift.LATENCY),
        latency_std_s=common.std.get(Shift.LATENCY),
        outlier_share=Estimated(value=noise.outlier_share, std=noise.outlier_std, unit="1"),
        flip_share=_flip_share(seen, residual, std, noise.wrong),
        mount=_mount_records(common),
        tags={str(tag): _tag_record(shift) for tag, shift in common.tags.items()},
        range_scale=_range_scale(common),
        beyond_chance=sorted(kind.value for kind in common.beyond_chance),
        slow=_slow_records(seen, residual / std, noise.reference_scale * extra / std**2, wrong),
        bins=_bin_records(seen, wrong),
        trust_map=_trust_records(seen, wrong),
        why=_why(common, noise, seen),
    )
    return CameraStudy(record, noise.noise, tuple(_changed_files(examined, name, common)))


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
    seen = joined(parts) if parts else None
    if seen is None or len(seen) < _FEWEST:
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


def _noise_records(noise: NoiseModel) -> dict[str, Estimated]:
    return {
        key: Estimated(value=value, std=noise.std[key], unit=_noise_unit(key)) for key, value in noise.value.items()
    }


def _noise_unit(key: str) -> _Unit:
    if key == "view_angle_growth":
        return "1"
    return "rad" if key.startswith(("heading", "bearing_floor")) else "m"


def _true_to_scale(seen: Observed, common: Systematic) -> FloatArray:
    """Return what is left of the residuals, ranges in true metres: the noise is that of ranges already scaled."""
    residual = common.residual.copy()
    if Component.RANGE in seen.components:
        residual[:, seen.components.index(Component.RANGE)] /= 1.0 + common.shift.get(Shift.RANGE_SCALE, 0.0)
    return residual


def _flip_share(seen: Observed, residual: FloatArray, std: FloatArray, wrong: FloatArray) -> Estimated | None:
    if Component.HEADING not in seen.components:
        return None
    count = len(seen)
    share = float(np.mean(flipped(seen, residual, std, wrong)))
    return Estimated(value=share, std=float(np.sqrt(max(share * (1.0 - share), 1.0 / count) / count)), unit="1")


def _mount_records(common: Systematic) -> dict[Literal["x", "y", "yaw"], Estimated]:
    keys: tuple[tuple[Literal["x", "y", "yaw"], Shift, _Unit], ...] = (
        ("x", Shift.X, "m"),
        ("y", Shift.Y, "m"),
        ("yaw", Shift.YAW, "rad"),
    )
    return {
        key: Estimated(value=common.shift[shift], std=common.std[shift], unit=unit)
        for key, shift, unit in keys
        if shift in common.shift
    }


def _tag_record(found: TagShift) -> TagPlacement:
    x, y, facing = (
        None if not np.isfinite(shift) else Estimated(value=float(shift), std=float(std), unit=unit)
        for shift, std, unit in zip(found.shift, found.std, _TAG_UNITS, strict=True)
    )
    return TagPlacement(x=x, y=y, facing=facing, count=found.count, hangs_wrong=found.hangs_wrong)


_TAG_UNITS: tuple[_Unit, ...] = ("m", "m", "rad")


def _range_scale(common: Systematic) -> Estimated | None:
    if Shift.RANGE_SCALE not in common.shift:
        return None
    return Estimated(value=1.0 + common.shift[Shift.RANGE_SCALE], std=common.std[Shift.RANGE_SCALE], unit="1")


def _slow_records(
    seen: Observed, normalised: FloatArray, of_the_reference: FloatArray, wrong: BoolArray
) -> dict[Component, SlowRecord]:
    found = {}
    for place, name in enumerate(seen.components):
        values = np.where(wrong, np.nan, normalised[:, place])
        good = np.isfinite(values)
        share = slow_share(values, seen.passed, float(np.mean(of_the_reference[good, place])) if np.any(good) else 0.0)
        if share is not None:
            found[name] = SlowRecord(
                share=share.value,
                ci95=(share.low, share.high),
                passes=share.passes,
                worth_at_most=1.0 / share.low if share.low > 0.0 else None,
                correlation_time_s=correlation_time(values, seen.detections.captured_s, seen.passed),
            )
    return found


def _as_logged(seen: Observed) -> FloatArray:
    return residuals(seen, 0.0, np.zeros(3), np.zeros((len(seen), 3)), 1.0)


def _bin_records(seen: Observed, wrong: BoolArray) -> list[CameraBin]:
    return [
        CameraBin(
            by=one.by.value,
            low=one.low,
            high=one.high,
            count=one.count,
            outliers=one.outliers,
            components={
                name: BiasAndSpread(
                    bias=numbers.bias, bias_std=numbers.bias_std, spread=numbers.spread, spread_std=numbers.spread_std
                )
                for name, numbers in one.components.items()
            },
        )
        for one in bins(seen, _as_logged(seen), wrong)
    ]


def _trust_records(seen: Observed, wrong: BoolArray) -> list[TrustRecord]:
    return [
        TrustRecord(
            range_low_m=cell.range_low_m,
            range_high_m=cell.range_high_m,
            view_low_rad=cell.view_low_rad,
            view_high_rad=cell.view_high_rad,
            count=cell.count,
            outliers=cell.outliers,
            rms=dict(cell.rms),
        )
        for cell in trust_map(seen, _as_logged(seen), wrong)
    ]


def _why(common: Systematic, noise: NoiseModel, seen: Observed) -> dict[str, str]:
    why = dict(noise.fixed)
    if Shift.LATENCY not in common.shift:
        why["latency_s"] = "the robot hardly moved with a tag in view: drive and turn past one"
    if Component.HEADING not in seen.components:
        why["flip_share"] = "this kind of detection does not look at a tag's tilt"
    if not {Shift.X, Shift.Y} & set(common.shift):
        why["mount"] = "stands in front of tags at several headings are needed"
    return why


def _to_set_right(common: Systematic, kind: Shift) -> bool:
    return kind in common.beyond_chance and abs(common.shift[kind]) > _NOTABLE[kind]


def _changed_files(examined: Sequence[Examination], name: str | None, common: Systematic) -> list[ChangedFile]:
    """Return the files with what is plainly wrong set right; session keys only where there is one session."""
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
    if len(examined) == 1:
        if _to_set_right(common, Shift.LATENCY):
            edits.append(clock_edit(source, (common.shift[Shift.LATENCY], common.std[Shift.LATENCY])))
        if _to_set_right(common, Shift.RANGE_SCALE):
            scale = range_scale_edit(source, (common.shift[Shift.RANGE_SCALE], common.std[Shift.RANGE_SCALE]))
            edits += [] if scale is None else [scale]
    changed = [changed_file(first, file, edits) for file in EditedFile]
    return [one for one in changed if one.edits]
