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
    body: np.random.Generator


def random_streams(seed: int, pods: Iterable[str]) -> RandomStreams:
    """Return independent generators that depend only on the seed, the cause, and a pod's place in the robot file."""
    placing, gyro, camera, wheels, body = np.random.default_rng(seed).spawn(5)
    names = list(pods)
    return RandomStreams(
        placing=placing,
        gyro=gyro,
        camera=CameraStreams(*camera.spawn(6)),
        pods=dict(zip(names, wheels.spawn(len(names)), strict=True)),
        body=body,
    )
