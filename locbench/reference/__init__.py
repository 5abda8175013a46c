"""Where the robot really was: independent of tags, so that it can judge them."""

from locbench.reference.dense import Reference, dense_reference

__all__ = ["Reference", "dense_reference"]
