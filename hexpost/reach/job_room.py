"""Where the gauge point of a job goes, by every row of its motion."""

import numpy as np

from hexpost.kinematics.links import rotations
from hexpost.pipeline import Job
from hexpost.reach.maps import JobRoom


def room_of(job: Job, name: str) -> JobRoom:
    """Return the box that the gauge point stays in, in the base frame, mm."""
    machine, moves = job.inputs.machine, job.inputs.meaning.moves
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for setpoints in job.setpoints(commands=False):
        poses = setpoints.poses
        frame = moves.frames[poses.frame]
        arm = machine.platform.gauge_point - frame.tip
        turned = np.einsum("ijn,j->in", rotations(poses.pose, machine.tilt_order), arm)
        place = frame.base_from_work[:3, :3] @ (poses.pose[:3] + turned) + frame.base_from_work[:3, 3:]
        low, high = np.minimum(low, place.min(axis=1)), np.maximum(high, place.max(axis=1))
    return JobRoom(name=name, low=low, high=high)
