"""Where the robot really was: independent of tags, so that it can judge them."""

from typing import TypeAlias

from locbench.reference.closure import Closure
from locbench.reference.dense import Reference, dense_reference
from locbench.reference.filled import FilledReference
from locbench.reference.known import KnownPoses
from locbench.reference.marks import SmoothedReference, smoothed_reference

__all__ = [
    "Closure",
    "FilledReference",
    "Judge",
    "KnownPoses",
    "Reference",
    "SmoothedReference",
    "dense_reference",
    "smoothed_reference",
]

Judge: TypeAlias = Reference | SmoothedReference | FilledReference
"""What can say where the robot was, and how surely, at any time."""
