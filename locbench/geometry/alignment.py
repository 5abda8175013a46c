"""Least-squares alignment of two point sets.

Source: Umeyama, "Least-squares estimation of transformation parameters between two point patterns",
IEEE PAMI 13(4), 1991, 376-380. The mirrored form flips the sign the determinant must have.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["Alignment", "mirrored_alignment", "rigid_alignment", "similarity_alignment"]


@dataclass(frozen=True)
class Alignment:
    """The map target = scale * rotation @ source + translation, and what it leaves."""

    rotation: FloatArray
    translation: FloatArray
    scale: float
    mean_squared_residual: float

    def apply(self, points: FloatArray) -> FloatArray:
        """Return points (..., 2) carried into the target's frame."""
        return np.asarray(self.scale * np.asarray(points) @ self.rotation.T + self.translation)


@dataclass(frozen=True)
class _Centred:
    source: FloatArray
    target: FloatArray
    source_mean: FloatArray
    target_mean: FloatArray

    def residual(self, rotation: FloatArray, scale: float) -> Alignment:
        left = self.target - scale * self.source @ rotation.T
        return Alignment(
            rotation=rotation,
            translation=self.target_mean - scale * rotation @ self.source_mean,
            scale=scale,
            mean_squared_residual=float(np.mean(np.sum(left**2, axis=-1))),
        )


def _centre(source: FloatArray, target: FloatArray) -> _Centred:
    source, target = np.asarray(source, dtype=float), np.asarray(target, dtype=float)
    if source.shape != target.shape or source.ndim != 2 or source.shape[1] != 2:
        raise ValueError(f"both point sets must have the same shape (N, 2); got {source.shape} and {target.shape}")
    if len(source) < 2:
        raise ValueError(f"at least two points are needed; got {len(source)}")
    source_mean, target_mean = source.mean(axis=0), target.mean(axis=0)
    return _Centred(source - source_mean, target - target_mean, source_mean, target_mean)


def _orthogonal(centred: _Centred, determinant: float) -> tuple[FloatArray, FloatArray]:
    """Return the best orthogonal matrix of that determinant, and the signed singular values."""
    left, singular, right = np.linalg.svd(centred.target.T @ centred.source / len(centred.source))
    signs = np.array([1.0, determinant * np.sign(np.linalg.det(left) * np.linalg.det(right))])
    return left @ np.diag(signs) @ right, singular * signs


def rigid_alignment(source: FloatArray, target: FloatArray) -> Alignment:
    """Return the best rotation and translation; a reflection is never returned.

    Parameters
    ----------
    source, target
        (N, 2) with N >= 2, row i of one belonging to row i of the other.

    Raises
    ------
    ValueError
        If the shapes differ or fewer than two points are given.
    """
    centred = _centre(source, target)
    rotation, _ = _orthogonal(centred, 1.0)
    return centred.residual(rotation, 1.0)


def mirrored_alignment(source: FloatArray, target: FloatArray) -> Alignment:
    """Return the best alignment with a reflection in it; arguments and errors as `rigid_alignment`."""
    centred = _centre(source, target)
    rotation, _ = _orthogonal(centred, -1.0)
    return centred.residual(rotation, 1.0)


def similarity_alignment(source: FloatArray, target: FloatArray) -> Alignment:
    """Return the best rotation, translation and scale; arguments and errors as `rigid_alignment`.

    Raises
    ------
    ValueError
        Also if all source points coincide, so that no scale exists.
    """
    centred = _centre(source, target)
    spread = float(np.mean(np.sum(centred.source**2, axis=-1)))
    if spread == 0.0:
        raise ValueError("all source points coincide, so no scale exists")
    rotation, singular = _orthogonal(centred, 1.0)
    return centred.residual(rotation, float(np.sum(singular)) / spread)
