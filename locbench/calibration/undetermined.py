"""What a set of drives could not tell, in words, and the drive that would settle it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.constants import Constant, ConstantKind
from locbench.calibration.determining import Calibrated
from locbench.calibration.driven import Driven
from locbench.drive_kinds import DriveKind

__all__ = ["Untold", "untold"]

# an unsure direction of all constants counts a constant in that has at least this part of its largest
_TAKES_PART = 0.35
_ENOUGH_TURNS = 3.0

_TRAVEL = (ConstantKind.WHEEL_DIAMETER, ConstantKind.TRAVEL_SCALE)
_TURNING = (ConstantKind.LEVER_ARM, ConstantKind.TURN_SCALE)
_MOUNT = (ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y)


@dataclass(frozen=True)
class Untold:
    """Constants that stay open, why, and which run sheet would settle them."""

    names: tuple[str, ...]
    why: str
    next_run: DriveKind


def untold(found: Calibrated, what: Driven) -> tuple[Untold, ...]:
    """Return what stays open, constants that only show together named together.

    Parameters
    ----------
    found
        What the drives determine.
    what
        What was driven.

    Notes
    -----
    The eigenvectors of the covariance in units of what each constant needs to be known to: along those with more than
    one the drives do not tell enough, and the constants with a large part in one cannot be told apart (Belsley, Kuh &
    Welsch, "Regression Diagnostics" (1980), chapter 3; from memory).
    """
    every = found.constants.every
    open_ones = [place for place, one in enumerate(found.estimates) if not one.determined]
    groups = _together(found, open_ones)
    return tuple(_in_words([every[place] for place in group], what) for group in groups)


def _together(found: Calibrated, open_ones: Sequence[int]) -> list[list[int]]:
    needed = found.constants.needed_stds
    scaled = found.covariance / np.outer(needed, needed)
    values, vectors = np.linalg.eigh(scaled)
    groups: list[set[int]] = []
    left = set(open_ones)
    for direction in np.argsort(-values):
        part: FloatArray = np.abs(vectors[:, direction])
        members = {place for place in left if part[place] > _TAKES_PART * np.max(part)}
        if members and values[direction] > 1.0:
            groups.append(members)
            left -= members
    if left:
        groups.append(left)
    return [sorted(group) for group in groups]


def _in_words(open_ones: Sequence[Constant], what: Driven) -> Untold:
    kinds = {one.kind for one in open_ones}
    names = tuple(one.name for one in open_ones)
    for wanted, sentence, run in _reasons(kinds, open_ones, what):
        if wanted:
            return Untold(names, sentence, run)
    return Untold(names, "the references are too few, or too unsure, for these", DriveKind.TOUR)


def _reasons(
    kinds: set[ConstantKind], open_ones: Sequence[Constant], what: Driven
) -> Iterable[tuple[bool, str, DriveKind]]:
    """Yield whether a reason applies, its words, and the kind of run sheet; the more particular first."""
    mount = kinds & {ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW}
    latency = ConstantKind.LATENCY in kinds
    yield (
        latency and ConstantKind.MOUNT_YAW in kinds,
        "latency and the camera's yaw separate only with turns in both senses while a tag is in view; this run has "
        f"{what.left_turns:.1f} turns to the left and {what.right_turns:.1f} to the right",
        DriveKind.CAMERA,
    )
    yield (
        latency,
        f"latency shows only while the robot moves fast with a tag in view; this run has {what.detections} detections "
        f"and turned fast for {what.fast_turning_s:.1f} s",
        DriveKind.CAMERA,
    )
    yield (
        bool(mount),
        "where the camera sits shows only from stands in front of tags at several headings; this run has "
        f"{what.references} references at {what.headings} headings and {what.detections} detections",
        DriveKind.CAMERA,
    )
    levers = [one for one in open_ones if one.kind is ConstantKind.LEVER_ARM]
    turning = kinds & set(_TURNING)
    travel = [one for one in open_ones if one.kind in _TRAVEL]
    few_turns = what.turns < _ENOUGH_TURNS
    yield (
        bool(turning) and few_turns,
        f"lever arms and the gyro's scale need three turns on the spot; this run has {what.turns:.1f}",
        DriveKind.SPIN,
    )
    yield (
        len(levers) > 1 and not kinds & set(_TRAVEL),
        "the mean lever arm of parallel pods shows only with marks at several headings, as turns on the spot move the "
        f"robot sideways by it; this run has {what.references} references at {what.headings} headings",
        DriveKind.SPIN,
    )
    yield (
        bool(turning) and not travel,
        f"lever arms need references at several headings around turns on the spot; this run has {what.references} "
        f"references at {what.headings} headings, and {what.turns:.1f} turns",
        DriveKind.SPIN,
    )
    sideways = [one for one in travel if one.of in what.roll_sideways]
    yield (
        bool(travel) and len(sideways) == len(travel),
        "a wheel that rolls sideways shows its diameter only where the robot is driven, or pushed by hand, sideways "
        f"between references; this run went {what.sideways_m:.1f} m sideways",
        DriveKind.STRAIGHT,
    )
    yield (
        bool(travel),
        "wheel diameters need straight lines in the direction in which the wheel rolls, with references at both ends; "
        f"this run drove {what.forward_m:.1f} m forward or back and {what.sideways_m:.1f} m sideways",
        DriveKind.STRAIGHT,
    )
    yield (
        ConstantKind.ROLLING_DIRECTION in kinds,
        "the direction in which a pod rolls shows only across it: forward driving tells that of sideways pods, "
        "driving or pushing by hand sideways that of forward pods; this run went "
        f"{what.forward_m:.1f} m forward or back and {what.sideways_m:.1f} m sideways",
        DriveKind.STRAIGHT,
    )
    yield (
        ConstantKind.GYRO_LAG in kinds,
        f"the gyro's lag shows only in fast turns; this run turned fast for {what.fast_turning_s:.1f} s",
        DriveKind.SPIN,
    )
