"""What a camera study found, as camera.json has it."""

from typing import Literal

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.camera.binned import bins, trust_map
from locbench.camera.components import Component
from locbench.camera.flips import flipped
from locbench.camera.noise import NoiseModel, keys_of_kind
from locbench.camera.observed import Observed, residuals
from locbench.camera.systematic import Shift, Systematic, TagShift
from locbench.camera.whiteness import correlation_time, slow_share
from locbench.results import (
    BiasAndSpread,
    CameraBin,
    Estimated,
    SlowRecord,
    TagPlacement,
    TrustRecord,
)
from locbench.session import TagKind

__all__ = [
    "bin_records",
    "flip_share",
    "kept_noise",
    "mount_records",
    "noise_records",
    "range_scale_record",
    "reasons",
    "slow_records",
    "tag_record",
    "trust_records",
]

_Unit = Literal["m", "rad", "s", "1"]


def noise_records(noise: NoiseModel) -> dict[str, Estimated]:
    """Return the noise that was told, by key of [tag_noise]."""
    return {
        key: Estimated(value=value, std=noise.std[key], unit=_noise_unit(key)) for key, value in noise.value.items()
    }


def kept_noise(seen: Observed, noise: NoiseModel) -> dict[str, Estimated]:
    """Return the keys of the kind's noise that were not told."""
    return {
        key: Estimated(value=getattr(noise.noise, key), std=None, unit=_noise_unit(key))
        for key in keys_of_kind(seen.detections.kind)
        if key not in noise.value
    }


def _noise_unit(key: str) -> _Unit:
    if key in ("view_angle_growth", "correlation_between_tags"):
        return "1"
    return "rad" if key.startswith(("heading", "bearing_floor")) else "m"


def flip_share(seen: Observed, residual: FloatArray, std: FloatArray, wrong: FloatArray) -> Estimated | None:
    """Return the share of flips among all detections, (M, D) residuals and stds; None without headings."""
    if Component.HEADING not in seen.components:
        return None
    count = len(seen)
    share = float(np.mean(flipped(seen, residual, std, wrong)))
    return Estimated(value=share, std=float(np.sqrt(max(share * (1.0 - share), 1.0 / count) / count)), unit="1")


def mount_records(common: Systematic) -> dict[Literal["x", "y", "yaw"], Estimated]:
    """Return by how much the camera sits elsewhere, what is told of it."""
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


def tag_record(found: TagShift) -> TagPlacement:
    """Return where a tag hangs."""
    x, y, facing = (
        None if not np.isfinite(shift) else Estimated(value=float(shift), std=float(std), unit=unit)
        for shift, std, unit in zip(found.shift, found.std, _TAG_UNITS, strict=True)
    )
    return TagPlacement(
        x=x,
        y=y,
        facing=facing,
        count=found.count,
        legs=found.legs,
        is_provable=found.is_provable,
        hangs_wrong=found.hangs_wrong,
    )


_TAG_UNITS: tuple[_Unit, ...] = ("m", "m", "rad")


def range_scale_record(common: Systematic) -> Estimated | None:
    """Return ranges read over true ones; None where that is not told."""
    if Shift.RANGE_SCALE not in common.shift:
        return None
    return Estimated(value=1.0 + common.shift[Shift.RANGE_SCALE], std=common.std[Shift.RANGE_SCALE], unit="1")


def slow_records(
    seen: Observed, normalised: FloatArray, of_the_reference: FloatArray, wrong: BoolArray
) -> dict[Component, SlowRecord]:
    """Return what share of the variance is slow, by component; arguments (M, D), outliers (M,)."""
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


def bin_records(seen: Observed, wrong: BoolArray) -> list[CameraBin]:
    """Return residuals as logged, sorted by range, view angle, speed, turn rate and tag; outliers (M,)."""
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


def trust_records(seen: Observed, wrong: BoolArray) -> list[TrustRecord]:
    """Return how far off detections are over range and view angle; outliers (M,)."""
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


def reasons(common: Systematic, noise: NoiseModel, seen: Observed) -> dict[str, str]:
    """Return why something could not be told, by its name in camera.json."""
    kind = seen.detections.kind
    why = dict(noise.fixed)
    if Shift.LATENCY not in common.shift:
        why["latency_s"] = "the robot hardly moved with a tag in view: drive and turn past one"
    if Component.HEADING not in seen.components:
        poses = kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE)
        why["flip_share"] = _NO_HEADINGS if poses else "this kind of detection does not look at a tag's tilt"
        if poses:
            why["heading_floor, heading_at_one_metre"] = _NO_HEADINGS
    for key, shift in (("x", Shift.X), ("y", Shift.Y), ("yaw", Shift.YAW)):
        if shift not in common.shift:
            no_yaw = shift is Shift.YAW and kind is TagKind.RANGE
            why[f"mount.{key}"] = "ranges have no direction" if no_yaw else _TOO_FEW_STANDS
    return why


_NO_HEADINGS = "hardly any of the detections has a heading"
_TOO_FEW_STANDS = "stands in front of tags at several headings and ranges are needed"
