"""Constants of the odometry and the camera, estimated from drives together with where the robot was."""
