"""Averages as long as whole periods of the lowest mode: the ramps of a span then pass nothing of it to the tool.

An average over T of sin(2 pi f t) is sin(pi f T) / (pi f T) of it, T / 2 later (the integral): nothing where T is a
whole number of periods.
"""

import numpy as np

from hexpost.arrays import Array, Ints, distinct
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.elastic import elastic_platform
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath

ENOUGH = 0.02
"""An average that is no more than this share of a period above whole ones is taken as those."""


def calm_periods(path: ToolPath, moves: Moves, machine: Machine) -> Array | None:
    """Return the period (spans,) of the lowest mode where each span comes to rest, s; none where it is not asked for.

    Raises
    ------
    ValueError
        The machine file says no stiffness of a strut.
    """
    if not machine.calm:
        return None
    last = path.span_first[1:] - 1
    pose = path.evaluate(last, path.size[last], 0)[0]
    frames, model, out = moves.frame[path.move[last]], StrutModel(machine), np.empty(len(last))
    for k in distinct(frames).tolist():
        frame, at = moves.frames[k], frames == k
        seen = model.in_frame(frame.base_from_work, frame.tip, frame.yaw)
        elastic = elastic_platform(machine, seen, frame.tip, frame.yaw)
        if elastic is None:
            raise ValueError(machine.file)
        out[at] = 2.0 * np.pi / elastic.frequencies(pose[:, at])[0]
    return out


def calmed(window: Ints, periods: Array | None, tick: float) -> Ints:
    """Return windows (spans,) [ticks] rounded up to whole ``periods`` (spans,) [s], to the nearest ``tick`` [s]."""
    if periods is None:
        return window
    whole = np.maximum(np.ceil(window * tick / periods - ENOUGH), 1.0)
    out: Ints = np.maximum(np.rint(whole * periods / tick), 1).astype(np.int64)
    return out
