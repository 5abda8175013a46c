"""A few replays that use every part of the compiled code; run with and without compiling, they must agree."""

from pathlib import Path

import numpy as np
from builders import START, camera_detections, detections, doubtful, field, fusion, motion, sightings

from locbench.config import MotionNoise
from locbench.fusion import fuse, sweep_candidates
from locbench.odometry import dead_reckon
from locbench.session import StartPose, TagKind

__all__ = ["write_replays"]

NOISE = MotionNoise(doubted_factor=3.0)
DRIVE = doubtful(motion(rows=80))
TRUTH = dead_reckon(DRIVE, START.pose)
LOST = StartPose(START.pose + [0.7, 0.0, 0.0], START.covariance)
SETTINGS = {
    "kalman": {"trust": {"gate_probability": "80 %", "excluded_tags": [3], "maximum_range": "3.5 m"}},
    "reacquire": {"trust": {"gate_probability": "99 %", "reacquire_after": 2}, "correction": {"use_heading": False}},
    "replace": {"correction": {"mode": "replace"}, "latency": {"history": "200 ms"}},
    "fixed_gain": {"correction": {"mode": "fixed_gain"}, "latency": {"mode": "ignore"}},
    "on_request": {"trust": {"gate_probability": "99 %", "only_on_request": True, "maximum_speed": "0.9 m/s"}},
    "none": {"correction": {"mode": "none"}},
}


def _found(kind):
    return detections(DRIVE, TRUTH, 40) if kind is TagKind.ROBOT_POSE else camera_detections(kind, DRIVE, TRUTH, 40)


def write_replays(path: Path) -> None:
    """Write what every replay and one sweep per kind gave, as arrays."""
    requests, times = DRIVE.time_s[[10, 40]], DRIVE.time_s[::7]
    arrays = {}
    for kind in TagKind:
        whole = kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE)
        chosen = {
            name: fusion(**s) for name, s in SETTINGS.items() if whole or name in ("kalman", "on_request", "none")
        }
        for name, config in chosen.items():
            start = LOST if name == "reacquire" else START
            estimate = fuse(DRIVE, start, sightings(_found(kind), config), config, NOISE, requests)
            fixes, key = estimate.corrections, f"{kind}_{name}"
            arrays[f"{key}_rules"] = np.array([str(rule) for rule in fixes.rejected_by])
            arrays[f"{key}_resets"] = fixes.reacquired
            arrays[f"{key}_squared"] = fixes.normalised_innovation_squared
            arrays[f"{key}_pose"], arrays[f"{key}_covariance"] = estimate.track.pose, estimate.track.covariance
            arrays[f"{key}_gain"] = estimate.steps.gain
        swept = sweep_candidates(DRIVE, START, _found(kind), field(), list(chosen.values()), NOISE, requests, times)
        arrays[f"{kind}_accepted"], arrays[f"{kind}_rejected"] = swept.accepted, swept.rejected
        arrays[f"{kind}_published"] = swept.published
    np.savez(path, **arrays)
