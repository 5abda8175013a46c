"""locbench measures how far a robot's believed pose, and the shots aimed from it, are off.

Import the rooms you need, for example ``from locbench.jobs.evaluate import evaluate``;
the root stays empty so that ``locbench --help`` is quick.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
