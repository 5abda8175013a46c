"""From encoder and gyro readings to body increments, and from those to dead-reckoned poses and their covariance."""

from locbench.odometry.increments import measure_motion, sensor_response, unjudged_motion
from locbench.odometry.lookup import Legs
from locbench.odometry.motion import Motion
from locbench.odometry.noise import doubted_noise, interval_noise, noise_of, transition
from locbench.odometry.rates import Rates, rates_at
from locbench.odometry.reckoning import dead_reckon, dead_reckon_covariance, rotated
from locbench.odometry.sensors import GYRO, MotionSensors, SensorLayout, layout_sensors, logged_sensors
from locbench.odometry.travel import Travel, travel_since

__all__ = [
    "GYRO",
    "Legs",
    "Motion",
    "MotionSensors",
    "Rates",
    "SensorLayout",
    "Travel",
    "dead_reckon",
    "dead_reckon_covariance",
    "doubted_noise",
    "interval_noise",
    "layout_sensors",
    "logged_sensors",
    "measure_motion",
    "noise_of",
    "rates_at",
    "rotated",
    "sensor_response",
    "transition",
    "travel_since",
    "unjudged_motion",
]
