"""Setpoints made for the table tests; nothing about them needs to be a real machine's."""

import numpy as np

from hexpost.setpoints.model import Poses, Setpoints


def setpoints(length, speed, acceleration, line=None, first=0, period=1e-3) -> Setpoints:
    """Return a block whose columns are these (6, n) arrays."""
    n = length.shape[1]
    tick = np.arange(first, first + n)
    line = np.arange(1, n + 1) if line is None else np.asarray(line)
    none = np.zeros((6, n))
    poses = Poses(
        tick=tick, move=tick, line=line.astype(np.int32), span=tick, frame=0, pose=none, rate=none,
        acceleration=none, corner=tick,
    )  # fmt: skip
    return Setpoints(poses=poses, period=period, length=length, speed=speed, acceleration=acceleration, jerk=none)


def smooth(n, first=0, period=1e-3, shake=3.0) -> Setpoints:
    """Return struts that swing at several frequencies, up to 400 mm/s, and by ``shake`` mm at 3 Hz on top.

    3 mm give accelerations of 1,200 mm/s2 all the time, as rapids do; 0.1 mm is a finishing cut.
    """
    t = (np.arange(n) + first) * period
    phase = np.linspace(0, 5, 6)[:, None]
    w = 2 * np.pi * np.array([0.11, 0.33, 0.07, 0.5, 0.09, 0.21])[:, None]
    swing = np.array([60.0, 90, 200, 55, 140, 70])[:, None]
    length = 1300 + swing * np.sin(w * t + phase) + shake * np.sin(20 * t + phase)
    speed = swing * w * np.cos(w * t + phase) + 20 * shake * np.cos(20 * t + phase)
    acceleration = -swing * w**2 * np.sin(w * t + phase) - 400 * shake * np.sin(20 * t + phase)
    return setpoints(length, speed, acceleration, (np.arange(n) + first) // 8 + 1, first, period)
