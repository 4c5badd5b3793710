"""The cutting force on the tool at each sample: constant, or from feed per tooth and a tool's coefficients."""

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Forces, Tools
from hexpost.moves.model import AFTER, FEED_RAPID, Events, Moves
from hexpost.setpoints.model import Setpoints

MINUTE = 60.0
STILL = 1e-6
"""Below this tip speed, mm/s, nothing is cut."""


class Cutting:
    """Force and moment on the tool in feed moves while the tip moves.

    The constant part is that of the machine file, in the axes of the platform. A tool with coefficients adds, with the
    feed per tooth f = v / (S z): against the motion of the tip ``feed_force_n`` + ``feed_force_n_mm`` f, and along
    the spindle, towards it, ``axial_force_n`` + ``axial_force_n_mm`` f. Without spindle speed f counts as 0.
    """

    def __init__(self, forces: Forces, moves: Moves, events: Events, tools: Tools) -> None:
        self._forces = forces
        self._rapid = np.append(moves.feed_mode == FEED_RAPID, True)  # the last stands for "before the first move"
        self._speed = np.append(_spindle_speeds(moves, events), 0.0)
        self._frames = moves.frames
        self._tools = tools
        self._constant = bool(forces.force.any() or forces.moment.any())

    def wrench(self, setpoints: Setpoints, rotation: Array) -> Array | float:
        """Return force [N] and moment about the tip [N mm] on the tool (6, n), in the work frame; 0 for none."""
        poses = setpoints.poses
        tool = self._tools.tools.get(self._frames[poses.frame].tool)
        if not self._constant and (tool is None or not any(tool.force)):
            return 0.0
        speed = np.sqrt((poses.rate[:3] ** 2).sum(axis=0))
        cuts = ~self._rapid[poses.move] & (speed > STILL)
        out: Array = np.zeros((6, len(speed)))
        if self._constant:
            out[:3] = np.einsum("ijn,j->in", rotation, self._forces.force)
            out[3:] = np.einsum("ijn,j->in", rotation, self._forces.moment)
        if tool is not None and any(tool.force):
            edge, slope, axial, axial_slope = tool.force
            spindle = self._speed[poses.move] * tool.teeth / MINUTE
            chip = np.where(spindle > 0.0, speed / np.maximum(spindle, STILL), 0.0)
            out[:3] -= (edge + slope * chip) / np.maximum(speed, STILL) * poses.rate[:3]
            out[:3] += (axial + axial_slope * chip) * rotation[:, 2]
        out *= cuts
        return out


def _spindle_speeds(moves: Moves, events: Events) -> Array:
    """Return the spindle speed S in force in each move (n,), 1/min; an S after a move counts from the next one on."""
    of = np.flatnonzero(events.letter == ord("S"))
    first = events.move[of] + (events.rule[of] == AFTER)
    at = np.searchsorted(first, np.arange(moves.count), "right")
    return np.append(0.0, events.value[of])[at]
