"""The free yaw: the platform turned about its tool, by the yaw of each frame and by a profile in time."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hexpost.kinematics.turning import about_tool
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Poses, YawProfile


def turned(poses: Poses, frames: Sequence[Frame], profile: YawProfile | None, order: str) -> Poses:
    """Return the poses of the platform itself: those of the tool turned about it by the yaw."""
    constant = frames[poses.frame].yaw
    if profile is None and constant == 0.0:
        return poses
    n = len(poses.tick)
    yaw, speed, growth = (np.zeros(n), np.zeros(n), np.zeros(n)) if profile is None else profile.at(poses.tick)
    motion = (poses.pose, poses.rate, poses.acceleration)
    pose, rate, acceleration = about_tool(motion, (yaw + constant, speed, growth), order)
    return replace(poses, pose=pose, rate=rate, acceleration=acceleration)
