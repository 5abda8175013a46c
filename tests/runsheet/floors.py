"""Floors for run sheets, and a robot that does what the steps say."""

import numpy as np
from hypothesis import strategies as st

from locbench.config import FieldConfig, RobotConfig

__all__ = ["ROBOT", "floor_field", "floors", "walked"]

ROBOT = RobotConfig.model_validate(
    {
        "name": "test robot",
        "pods": {
            "left": {"x": "0 mm", "y": "120 mm", "wheel_diameter": "50 mm", "counts_per_revolution": 4096},
            "right": {"x": "0 mm", "y": "-120 mm", "wheel_diameter": "50 mm", "counts_per_revolution": 4096},
            "cross": {
                "x": "-100 mm",
                "y": "0 mm",
                "rolling_direction": "90 deg",
                "wheel_diameter": "40 mm",
                "counts_per_revolution": 4096,
            },
        },
        "gyro": {},
        "cameras": {"side": {"x": "100 mm", "y": "-60 mm", "yaw": "-35 deg"}},
    }
)


def floor_field(
    width_m: float = 4.0, height_m: float = 4.0, corner: tuple[float, float] = (0.0, 0.0), marks=(), walls=True
) -> FieldConfig:
    """A floor with a tag on the middle of each wall, and marks given as x, y, heading in degrees."""
    (left, low), (right, high) = corner, (corner[0] + width_m, corner[1] + height_m)
    middle = ((left + right) / 2.0, (low + high) / 2.0)
    places = [(right, middle[1], 180), (middle[0], high, -90), (left, middle[1], 0), (middle[0], low, 90)]
    return FieldConfig.model_validate(
        {
            "name": "test floor",
            "floor": {"x_from": f"{left} m", "x_to": f"{right} m", "y_from": f"{low} m", "y_to": f"{high} m"},
            "tags": [
                {"id": number, "x": f"{x} m", "y": f"{y} m", "facing": f"{turn} deg"}
                for number, (x, y, turn) in enumerate(places if walls else [], start=1)
            ],
            "marks": [
                {
                    "name": f"M{number}",
                    "x": f"{x} m",
                    "y": f"{y} m",
                    "heading": f"{turn} deg",
                    "position_std": "2 mm",
                    "heading_std": "0.3 deg",
                }
                for number, (x, y, turn) in enumerate(marks, start=1)
            ],
        }
    )


def floors(smallest_m: float = 2.4) -> st.SearchStrategy[FieldConfig]:
    """Floors of any size from that on, anywhere, with up to nine marks on them."""

    @st.composite
    def one(draw):
        width, height = draw(st.floats(smallest_m, 25.0)), draw(st.floats(smallest_m, 25.0))
        corner = draw(st.tuples(st.floats(-20.0, 20.0), st.floats(-20.0, 20.0)))
        share = st.floats(0.0, 1.0)
        marks = draw(st.lists(st.tuples(share, share, st.integers(-180, 180)), max_size=9))
        placed = [(corner[0] + across * width, corner[1] + up * height, turn) for across, up, turn in marks]
        return floor_field(width, height, corner, placed)

    return one()


def walked(plan):
    """Yield part, move, and the pose (3,) before and after it, of a robot that starts on the first mark."""
    first = plan.marks[0].pose
    pose = np.array([first.x_m, first.y_m, first.heading_rad])
    for part in plan.parts:
        for _ in range(part.times):
            for move in part.moves:
                before = pose.copy()
                pose[2] += move.turn_before_rad
                pose[:2] += move.length_m * np.array([np.cos(pose[2]), np.sin(pose[2])])
                pose[2] += move.turn_after_rad
                yield part, move, before, pose.copy()
