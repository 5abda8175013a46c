"""The TOML files: one pydantic model per kind, read strictly, checked twice (shape, then meaning)."""

from locbench.config.baseline import BaselineConfig
from locbench.config.field import FieldConfig
from locbench.config.fusion import CorrectionMode, Engine, FusionConfig, LatencyMode
from locbench.config.loading import load_config
from locbench.config.robot import MotionNoise, RobotConfig
from locbench.config.scenario import ScenarioConfig
from locbench.config.session import SessionConfig
from locbench.config.shooter import ShooterConfig

__all__ = [
    "BaselineConfig",
    "CorrectionMode",
    "Engine",
    "FieldConfig",
    "FusionConfig",
    "LatencyMode",
    "MotionNoise",
    "RobotConfig",
    "ScenarioConfig",
    "SessionConfig",
    "ShooterConfig",
    "load_config",
]
