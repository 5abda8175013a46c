"""One stream of random numbers per cause, so that silencing one sensor leaves the others as they were."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

__all__ = ["CameraStreams", "RandomStreams", "random_streams"]


@dataclass(frozen=True)
class CameraStreams:
    """The camera's causes."""

    frames: np.random.Generator
    noise: np.random.Generator
    flips: np.random.Generator
    ids: np.random.Generator
    drops: np.random.Generator
    latency: np.random.Generator


@dataclass(frozen=True)
class RandomStreams:
    """All causes of chance in a run."""

    placing: np.random.Generator
    gyro: np.random.Generator
    camera: CameraStreams
    pods: Mapping[str, np.random.Generator]
    drive_wheels: Mapping[str, np.random.Generator]
    body: np.random.Generator


def random_streams(seed: int, pods: Iterable[str], drive_wheels: Iterable[str] = ()) -> RandomStreams:
    """Return independent generators that depend only on the seed, the cause, and a wheel's place in the robot file.

    The place is that among the pods, or among the driven wheels: whichever are added, the others err as before.
    """
    placing, gyro, camera, of_pods, body, of_driven = np.random.default_rng(seed).spawn(6)
    names, driven = list(pods), list(drive_wheels)
    return RandomStreams(
        placing=placing,
        gyro=gyro,
        camera=CameraStreams(*camera.spawn(6)),
        pods=dict(zip(names, of_pods.spawn(len(names)), strict=True)),
        body=body,
        drive_wheels=dict(zip(driven, of_driven.spawn(len(driven)), strict=True)),
    )
