"""Bounds for the speeds within reach: how fast each stretch can be by the exact profile, and so how steep its ramps.

Bounds of ramps hold for any speed under the cap of their stretch: a cap that is never reached takes from them in vain.
"""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.feed.bounds import TINY, tip_ramps
from hexpost.feed.scan import speeds_squared
from hexpost.feed.stretches import Stretches, tagged
from hexpost.feed.struts import CURVATURE_MOST, PLANNED, steepest
from hexpost.feed.task import Task
from hexpost.feed.weigh import PlanLimits
from hexpost.path.model import ToolPath


def within_reach(st: Stretches, which: Flags, window: Array, task: Task, norms: Array) -> Stretches:
    """Return the stretches with caps of spans ``which`` (spans,) lowered to what is within reach, and steeper ramps.

    Within reach is the exact profile, and what is gained beside it in the ``window`` of the span [s]. Ramps are those
    of the separable bounds at these caps, or those of the exact profile: there the curvature of lengths may help, too.
    Not so where limits are others for slowing down: that profile knows the larger of both.
    ``norms`` are those of the pieces.
    """
    path, limits = task.path, task.limits
    a, b = _exact(st, which, path, limits)
    ramp = (b - a) / np.maximum(2 * st.size, TINY)
    steep = np.abs(ramp)
    steep[1:], steep[:-1] = np.maximum(steep[1:], np.abs(ramp[:-1])), np.maximum(steep[:-1], np.abs(ramp[1:]))
    inside = (a * st.down + b * st.up + 2 * st.up * st.down * st.size) / np.maximum(st.up + st.down, TINY)
    reach = (np.sqrt(np.maximum(np.maximum(a, b), inside)) + steep * window[st.span]) ** 2
    k = np.flatnonzero(which[st.span] & (reach < st.cap))
    cap, up, down, hold = st.cap.copy(), st.up.copy(), st.down.copy(), st.hold.copy()
    cap[k] = tagged(reach[k], hold[k])
    up[k], down[k], hold[k] = tip_ramps(path, st.piece[k], cap[k], limits.shares.tip, norms)
    st = steepest(replace(st, cap=cap, up=up, down=down, hold=hold), k, path, norms, limits.struts)
    if limits.two_sided:
        return st
    return replace(st, up=np.maximum(st.up, ramp * which[st.span]), down=np.maximum(st.down, -ramp * which[st.span]))


def least_seconds(st: Stretches, task: Task) -> float:
    """Return a time [s] that all spans together do not go below: the exact profile without jerk, or programmed feeds.

    Profile and caps are of a share of accelerations: with all of them they take the root of that share of the time.
    """
    a, b = _exact(st, np.ones(len(st.first) - 1, dtype=bool), task.path, task.limits)
    exact = (PLANNED * CURVATURE_MOST) ** 0.5 * 2.0 * st.size / np.maximum(np.sqrt(a) + np.sqrt(b), TINY)
    least: Array = np.maximum(exact, st.size / task.programmed[st.piece])
    return float(least.sum())


def _exact(st: Stretches, which: Flags, path: ToolPath, limits: PlanLimits) -> tuple[Array, Array]:
    """Return the speeds squared (n,) of the exact profile at both edges of the stretches of some spans; else 0.

    Its grid are the edges, under the caps of the stretches; tip and tilt are limited along their axes.
    """
    grid, struts, tip = _Grid.of(st, np.flatnonzero(which)), limits.struts, limits.shares.tip
    piece = st.piece[grid.stretch]
    u = np.clip(st.s[grid.stretch + grid.last] - path.s0[piece], 0.0, path.size[piece])
    q = path.evaluate(piece, u, 2)
    aim, pull = struts.aim[piece], struts.pull(piece, q)
    slope, bend = struts.slopes(piece, q)
    rows: list[tuple[Array, Array, Array | float]] = [
        (slope, bend, np.maximum(struts.acceleration, struts.slowing) * aim),
        (q[1][:3], q[2][:3], max(tip.acceleration, tip.slowing[0])),
        (q[1][3:], q[2][3:], max(tip.tilt_acceleration, tip.slowing[1])),
    ]
    if pull:
        rows.append((pull.ramp, pull.bend, pull.least_room()))
    cap = np.minimum(st.cap[grid.stretch], st.cap[np.maximum(grid.stretch - 1, 0)])
    cap[grid.first | grid.last] = 0.0
    x = speeds_squared(
        np.concatenate([slope / most for slope, _, most in rows]),
        np.concatenate([bend / most for _, bend, most in rows]),
        np.full(sum(len(slope) for slope, _, _ in rows), PLANNED),
        cap,
        step=np.where(grid.last, 0.0, st.size[grid.stretch])[:-1],
    )
    begin = np.flatnonzero(~grid.last)
    out: Array = np.zeros((2, len(st.cap)))
    out[:, grid.stretch[begin]] = x[begin], x[begin + 1]
    return out[0], out[1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """Edges of the stretches of some spans, shape (m,), one span after the other.

    ``stretch`` behind each, the one before it at the ``last`` edge of a span; ``first`` edges of spans.
    """

    stretch: Ints
    first: Flags
    last: Flags

    @classmethod
    def of(cls, st: Stretches, spans: Ints) -> "_Grid":
        """Return the edges of these spans."""
        count = st.first[spans + 1] - st.first[spans]
        begin = np.concatenate([[0], np.cumsum(count + 1)])
        node = np.arange(begin[-1]) - np.repeat(begin[:-1], count + 1)
        last = node == np.repeat(count, count + 1)
        return cls(stretch=np.repeat(st.first[spans], count + 1) + node - last, first=node == 0, last=last)
