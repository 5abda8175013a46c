"""A simulated run: a world of its own, and sensors that err in it. It shares no model with the estimators."""

from locbench.simulation.recording import Recording, record_run
from locbench.simulation.world import World, build_world

__all__ = ["Recording", "World", "build_world", "record_run"]
