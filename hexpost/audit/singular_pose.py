"""The check that no pose, at a sample or between two, is singular or beyond one that is."""

from math import sqrt

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import WHOLE, Band, Context, Figures, share_band
from hexpost.kinematics.singular import Course, Watch, lowest, used
from hexpost.last_answer import LastAnswer
from hexpost.machine.geometry import least_conditioning, nearness
from hexpost.setpoints.model import Setpoints

NEAR = 10.0
"""Below so many times the least conditioning the worst use is told; always where the machine file states a least."""


class SingularPose:
    """The least conditioning over what it is; where it is less, or negative beyond a singular pose, 1 to 2.

    What is given of most samples is 0: they use less than the worst so far, or than is told at all.
    """

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._machine, self._poses = machine, context.poses
        tip = machine.tool_tip
        slow, turn = tip.slowing
        self._most = (max(tip.acceleration, slow), sqrt(3.0) * max(tip.tilt_acceleration, turn))  # sum of three angles
        self._least = least_conditioning(machine)
        self._worst = NEAR * self._least if machine.health.conditioning is None else np.inf
        self._watch: LastAnswer[int, Watch] = LastAnswer()
        self._found: Array = np.zeros(0)
        self.band: Band = share_band("singular-pose", WHOLE)

    def measure(self, setpoints: Setpoints) -> Array | None:
        """Return the shares (1, n); ``None`` if none is over the limit or the worst so far."""
        poses = setpoints.poses
        watch = self._watch.of(poses.frame, lambda: Watch(nearness(self._machine, self._poses.struts(setpoints))))
        course = Course(
            pose=poses.pose, rate=poses.rate, acceleration=poses.acceleration, period=setpoints.period, most=self._most
        )
        if watch.clear(course, max(self._least, self._worst)):
            return None
        at, found = lowest(watch.near, course, self._least, self._worst)
        if not len(at):
            return None
        self._worst = min(self._worst, float(found.min()))
        self._found = np.full(len(poses.tick), np.inf)
        self._found[at] = found
        return used(self._found, self._least)[None]

    def figures(self, row: Ints, at: Ints, setpoints: Setpoints) -> Figures:  # noqa: ARG002 - of the last batch
        """Return the conditioning, negative beyond a singular pose, and the least that is allowed."""
        found, none = self._found[at], np.zeros(len(at), dtype=np.uint8)
        return Figures(value=found, allowed=np.full(len(at), self._least), use=used(found, self._least), joint=none)
