"""How hard a job would be on its struts at many yaws at once: samples of it, thinned, solved again at each."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.links import links
from hexpost.kinematics.singular import used
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.geometry import least_conditioning, nearness
from hexpost.pipeline import Job

SAMPLES = 8000
"""About so many samples of a job are looked at."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class YawUse:
    """Worst use of limits, bins of time by yaws: ``still`` (m, k) of stroke, acceleration and singular poses.

    ``speed`` (m, k, 6) share of the speed limit of each strut while the yaw stands; ``slope`` (m, k, 6): what a yaw
    rate of 1 rad/s adds to it at most.
    """

    still: Array
    speed: Array
    slope: Array

    def constant(self) -> Array:
        """Return the worst use (k,) of a job with each of the yaws."""
        out: Array = np.maximum(self.still, self.speed.max(axis=2)).max(axis=0)
        return out


def yaw_use(job: Job, yaws: Array, step: int) -> YawUse:
    """Return the use of limits at ``yaws`` (k,), added to what the job turns by, in bins of ``step`` ticks.

    A bin reaches half a step to either side of its middle, so that bin i belongs to tick i * step.
    """
    machine, frames = job.inputs.machine, job.inputs.meaning.moves.frames
    model = StrutModel(machine)
    low, high = (np.array([s.stroke[i] for s in machine.struts])[:, None] for i in (0, 1))
    most = np.array([s.speed for s in machine.struts])[:, None]
    strongest = np.array([min(s.acceleration, s.slowing) for s in machine.struts])[:, None]
    m, k = job.timing.ticks // step + 2, len(yaws)
    still, speed, slope = np.zeros((m, k)), np.zeros((m, k, 6)), np.zeros((m, k, 6))
    stride = max(1, min(job.timing.ticks // SAMPLES, step // 3))
    small = 1e-4
    for setpoints in job.setpoints(commands=False):
        poses = setpoints.poses
        at = np.flatnonzero(poses.tick % stride == 0)
        if not at.size:
            continue
        bins = (poses.tick[at] + step // 2) // step
        first = np.flatnonzero(np.append(True, bins[1:] != bins[:-1]))
        motion = [poses.pose[:, at], poses.rate[:, at], poses.acceleration[:, at]]
        frame = frames[poses.frame]
        for j, yaw in enumerate(yaws.tolist()):
            struts = model.in_frame(frame.base_from_work, frame.tip, yaw)
            length, rate, growth = struts.derivatives(motion)
            held, _ = nearness(machine, struts).of(links(struts, motion[0][:, first]))
            there = model.in_frame(frame.base_from_work, frame.tip, yaw + small).lengths(motion[0])
            use = np.abs(2.0 * length - low - high) / (high - low)
            np.maximum(use, np.abs(growth) / strongest, out=use)
            rows = bins[first]
            worst = np.maximum(np.maximum.reduceat(use.max(axis=0), first), used(held, least_conditioning(machine)))
            still[rows, j] = np.maximum(still[rows, j], worst)
            for out, x in ((speed, np.abs(rate) / most), (slope, np.abs(there - length) / small / most)):
                out[rows, j] = np.maximum(out[rows, j], np.maximum.reduceat(x, first, axis=1).T)
    return YawUse(still=still, speed=speed, slope=slope)
