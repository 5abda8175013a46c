"""Which wrong detections are flips: the other one of the two tilts under which a flat tag looks nearly alike.

Seen along the line of sight, the wrong solution has the tag's view angle with the other sign, so the heading is off by
twice the view angle (Schweighofer & Pinz, IEEE PAMI 28(12) 2006; Collins & Bartoli, Int. J. Computer Vision 109, 2014).
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.camera.components import Component
from locbench.camera.observed import Observed
from locbench.geometry import wrap_angle
from locbench.session import TagKind

__all__ = ["flipped"]

_WITHIN = 3.5
# a wrong tilt is at least so far from the right one, or both are one
_APART = 4.0


def flipped(seen: Observed, residual: FloatArray, std: FloatArray, wrong: FloatArray) -> BoolArray:
    """Return (M,) which wrong detections are flips; none of kinds that do not look at a tag's tilt.

    Parameters
    ----------
    seen
        M detections.
    residual, std
        (M, D) and the standard deviation expected of good ones.
    wrong
        (M,) probability of being wrong.
    """
    if Component.HEADING not in seen.components:
        return np.zeros(len(seen), dtype=bool)
    place = seen.components.index(Component.HEADING)
    spread = std[:, place]
    # the tag's heading comes off by that much, the robot's own in the opposite sense
    sense = -1.0 if seen.detections.kind is TagKind.ROBOT_POSE else 1.0
    turned = wrap_angle(sense * 2.0 * seen.signed_view_rad)
    off = np.abs(wrap_angle(residual[:, place] - turned))
    apart = np.abs(turned) > _APART * spread
    return np.asarray((wrong > 0.5) & apart & (off < _WITHIN * spread))
