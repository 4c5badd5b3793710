"""A yaw that follows the path: dynamic programming over yaw and time, as control points of a smooth curve."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.machine.model import Machine
from hexpost.setup.yaw_use import YawUse

STEEP = 12.0
"""Power of the use of a limit that is summed up along the path: the larger, the more only the worst counts."""
EASE = 1e-3
"""What a step over the whole range costs beside that: of equal ways the one that turns least is taken."""
TILT_SHARE = 0.5
"""Share of the tilt limits of the machine that the yaw may take."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YawSteps:
    """The grid: ``yaw`` rad from one yaw to the next, ``ticks`` from one control point to the next."""

    yaw: float
    ticks: int


def farthest(machine: Machine, ticks: int) -> float:
    """Return how far control points may be apart, rad, so that the curve keeps its share of the tilt limits.

    The derivatives of a uniform cubic B-spline are at most the differences of its control points over the step; second
    differences are at most 2, third ones 4 times the first (C. de Boor, A Practical Guide to Splines, 1978).
    """
    tip, h = machine.tool_tip, ticks * machine.period
    return TILT_SHARE * min(tip.tilt_speed * h, tip.tilt_acceleration * h**2 / 2.0, tip.tilt_jerk * h**3 / 4.0)


def route(found: YawUse, steps: YawSteps, reach: float, hold: Flags, period: float) -> Array:
    """Return for each bin the index of its yaw: the least sum of steep uses, changes of at most ``reach`` rad.

    ``hold`` (m,): no change from the bin before. The first bin has the middle yaw (R. Bellman, 1957).
    """
    m, k = found.still.shape
    width = int(reach / steps.yaw + 1e-9)
    rate = steps.yaw / (steps.ticks * period)
    best = np.full(k, np.inf)
    best[k // 2] = 0.0
    came = np.zeros((m, k), dtype=np.int64)
    for i in range(m):
        options = np.full((2 * width + 1, k), np.inf)
        for row, d in enumerate(range(-width, width + 1)):
            if hold[i] and d:
                continue
            use = np.maximum(found.still[i], (found.speed[i] + abs(d) * rate * found.slope[i]).max(axis=1))
            cost = np.minimum(use, 1e6) ** STEEP + EASE * (d / k) ** 2
            target = slice(max(d, 0), k + min(d, 0))
            origin = slice(max(-d, 0), k - max(d, 0))
            options[row, target] = best[origin] + cost[target]
        row = options.argmin(axis=0)
        best = options[row, np.arange(k)]
        came[i] = np.arange(k) - (row - width)
    out: Array = np.zeros(m)
    j = int(best.argmin())
    for i in range(m - 1, -1, -1):
        out[i] = j
        j = int(came[i, j])
    return out
