"""Conversions between the inside (mm, s, rad) and the borders (inch, minutes, degrees)."""

from math import pi

MM_PER_INCH = 25.4
RAD_PER_DEG = pi / 180.0
DEG_PER_RAD = 180.0 / pi
SECONDS_PER_MINUTE = 60.0
