"""One stream of random numbers per cause, so that silencing one sensor leaves the others as they were."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

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
    body: np.random.Generator
    drive_wheels: Mapping[str, np.random.Generator] = field(default_factory=dict)


def random_streams(seed: int, pods: Iterable[str], drive_wheels: Iterable[str] = ()) -> RandomStreams:
    """Return independent generators that depend only on the seed, the cause, and a pod's place in the robot file.

    Those of driven wheels come after those of the pods: a robot with and without them has the same pods.
    """
    placing, gyro, camera, wheels, body = np.random.default_rng(seed).spawn(5)
    names, driven = list(pods), list(drive_wheels)
    of_pods, of_driven = wheels.spawn(len(names)), wheels.spawn(len(driven))
    return RandomStreams(
        placing=placing,
        gyro=gyro,
        camera=CameraStreams(*camera.spawn(6)),
        pods=dict(zip(names, of_pods, strict=True)),
        body=body,
        drive_wheels=dict(zip(driven, of_driven, strict=True)),
    )
