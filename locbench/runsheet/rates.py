"""How often rows must be logged for a drive of these speeds."""

from dataclasses import dataclass

import numpy as np

from locbench.config import RobotConfig
from locbench.runsheet.ground import reach_of
from locbench.runsheet.moves import Pace

__all__ = ["RowRate", "row_rate"]

# what one row may cost that is lost or stamped a row late
_WAY_PER_ROW_M = 0.010
_TURN_PER_ROW_RAD = float(np.radians(1.0))
_USUAL_RATES_HZ = (50.0, 100.0, 200.0, 500.0)


@dataclass(frozen=True)
class RowRate:
    """Rows per second, and how far the robot goes and turns within one row at full speed."""

    rows_per_s: float
    way_per_row_m: float
    turn_per_row_rad: float

    @property
    def period_s(self) -> float:
        """Time between rows."""
        return 1.0 / self.rows_per_s


def row_rate(pace: Pace, robot: RobotConfig | None) -> RowRate:
    """Return the lowest usual rate at which a row costs no more than 10 mm, at the outermost part too, and 1 degree."""
    fastest = max(pace.speed_m_s, pace.turn_rate_rad_s * reach_of(robot))
    needed = max(fastest / _WAY_PER_ROW_M, pace.turn_rate_rad_s / _TURN_PER_ROW_RAD)
    rate = next((usual for usual in _USUAL_RATES_HZ if usual >= needed * (1.0 - 1e-9)), _USUAL_RATES_HZ[-1])
    return RowRate(rate, fastest / rate, pace.turn_rate_rad_s / rate)
