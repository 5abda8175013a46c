"""Which sensor of the odometry slipped or failed, when, by how much, and what cannot be told.

Parity of redundant sensors, whiles and cumulative sums of it, and pose corrections at tags or marks.
"""
