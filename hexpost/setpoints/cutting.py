"""The cutting force on the tool at each sample: constant, or from feed per tooth and a tool's coefficients."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.thrusts import Cut
from hexpost.machine.model import Forces, Machine, Tools
from hexpost.moves.model import AFTER, FEED_RAPID, Events, Interpretation, Moves
from hexpost.setpoints.model import Setpoints
from hexpost.units import SECONDS_PER_MINUTE

STILL = 1e-6
"""Below this tip speed, mm/s, the tip stands."""
LEVEL = 1e-8
"""Below this change of A B C, rad/s, the tool does not tilt."""


class Cutting:
    """Force and moment on the tool in feed moves.

    The constant part is that of the machine file, in the axes of the platform; it acts while the tip moves or the tool
    tilts. A tool with coefficients adds, while the tip moves, with the
    feed per tooth f = v / (S z): against the motion of the tip ``feed_force_n`` + ``feed_force_n_mm`` f, and along
    the spindle, towards it, ``axial_force_n`` + ``axial_force_n_mm`` f. Without spindle speed f counts as 0.
    """

    def __init__(self, forces: Forces, moves: Moves, events: Events, tools: Tools) -> None:
        feeds = np.append(moves.feed_mode != FEED_RAPID, False)  # the last stands for "before the first move"
        self._feeds: Array = feeds.astype(np.float64)
        self._speed = np.append(_spindle_speeds(moves, events), 0.0)
        self._frames = moves.frames
        self._tools = tools
        self._constant = bool(forces.force.any() or forces.moment.any())

    def at(self, setpoints: Setpoints) -> Cut:
        """Return what acts on the tool at the samples of a batch."""
        poses = setpoints.poses
        tool = self._tools.tools.get(self._frames[poses.frame].tool)
        coefficients = tool is not None and any(tool.force)
        if not self._constant and not coefficients:
            return Cut()
        speed = np.sqrt(np.einsum("in,in->n", poses.rate[:3], poses.rate[:3]))
        feeds = self._feeds[poses.move]
        on: Array = np.multiply(speed > STILL, feeds)
        tilts = np.abs(poses.rate[3:]).max(axis=0) > LEVEL
        constant = np.maximum(on, tilts * feeds) if self._constant else None
        if tool is None or not coefficients:
            return Cut(on=constant)
        edge, slope, axial, axial_slope = tool.force
        spindle = self._speed[poses.move] * tool.teeth / SECONDS_PER_MINUTE
        chip = np.where(spindle > 0.0, speed / np.maximum(spindle, STILL), 0.0)
        return Cut(
            on=constant,
            axial=(axial + axial_slope * chip) * on,
            drag=(edge + slope * chip) / np.maximum(speed, STILL) * on,
        )


def cutting_of(machine: Machine, meaning: Interpretation, tools: Tools) -> Cutting:
    """Return the cutting force of a job."""
    assert machine.forces is not None  # every loaded machine has them
    return Cutting(machine.forces, meaning.moves, meaning.events, tools)


def _spindle_speeds(moves: Moves, events: Events) -> Array:
    """Return the spindle speed S in force in each move (n,), 1/min; an S after a move counts from the next one on."""
    speed = events.speed
    of = np.flatnonzero(np.isfinite(speed))
    first = events.move[of] + (events.rule[of] == AFTER)
    at = np.searchsorted(first, np.arange(moves.count), "right")
    return np.append(0.0, speed[of])[at]
