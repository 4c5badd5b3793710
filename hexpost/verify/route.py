"""The moves that the program asks for, as places of the tool tip, and how far a tool is from one of them."""

from math import pi

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves

_ROUNDS = 3
_CLOSE = 1e-4
"""Share of the tolerances that the last round moves the place of the best fit along a move at most."""


class Route:
    """Every move as a function of its share u from 0 to 1: tip (n, 3) and orientation (n, 3, 3) in its work frame.

    A line runs straight in x y z a b c; an arc turns about its axis, rises along it, and its radius and angles change
    evenly. The distance of a tool from a move is told at the share where it fits best, position and orientation
    weighed by their tolerances. ``axis_only``: the yaw about the tool is free, and the axis of the tool counts.
    """

    def __init__(self, moves: Moves, machine: Machine, *, axis_only: bool = False) -> None:
        self.moves = moves
        self._axis_only = axis_only
        self._order = ["ABC".index(x) for x in machine.tilt_order]
        self._tip = max(machine.tool_tip.corner_tolerance, 1e-6)
        self._tilt = max(machine.tool_tip.corner_tolerance_tilt, 1e-9)
        self._work_from_base = np.array([np.linalg.inv(f.base_from_work) for f in moves.frames])
        self._tips = np.array([f.tip for f in moves.frames])
        self._delta = moves.end - moves.start
        self._arc = np.full(moves.count, -1, dtype=np.int64)
        self._arc[moves.arcs.move] = np.arange(len(moves.arcs.move))
        self._sweep = _sweeps(moves)

    def tools(self, t: Array, r: Array, move: Ints) -> tuple[Array, Array]:
        """Return tips (n, 3) and orientations (n, 3, 3) in the frames of moves, for platforms ``t``, ``r``."""
        frame = self.moves.frame[move]
        m = self._work_from_base[frame]
        tip = t + np.einsum("nij,nj->ni", r, self._tips[frame])
        return np.einsum("nij,nj->ni", m[:, :3, :3], tip) + m[:, :3, 3], m[:, :3, :3] @ r

    def arms(self, r: Array, move: Ints) -> Array:
        """Return the vectors (n, 3) from the platform's origin to the tip, in the base frame."""
        out: Array = np.einsum("nij,nj->ni", r, self._tips[self.moves.frame[move]])
        return out

    def distance(self, t: Array, r: Array, move: Ints) -> tuple[Array, Array]:
        """Return how far tools (platforms ``t`` (n, 3), ``r`` (n, 3, 3)) are from moves (n,): mm and rad, each (n,)."""
        tip, turned = self.tools(t, r, move)
        u = np.full(len(move), 0.5)
        round_ = np.flatnonzero(self._arc[move] >= 0)
        if round_.size:
            u[round_] = self._arc_share(tip[round_], move[round_])
        for _ in range(_ROUNDS):
            p, dp, q, dq = self._at(u, move)
            off, twist = (tip - p) / self._tip, self._away(turned, q) / self._tilt
            if self._axis_only:  # a turn about the tool brings it no nearer
                axis = q[:, :, 2]
                dq = dq - axis * (axis * dq).sum(1)[:, None]
            dp, dq = dp / self._tip, dq / self._tilt
            slope = (off * dp + twist * dq).sum(1)
            size = (dp * dp + dq * dq).sum(1)
            before, u = u, np.clip(u + slope / np.maximum(size, 1e-30), 0.0, 1.0)
            if not ((u - before) ** 2 * size > _CLOSE**2).any():
                break
        p, _, q, _ = self._at(u, move)
        return np.sqrt(((tip - p) ** 2).sum(1)), np.sqrt((self._away(turned, q) ** 2).sum(1))

    def from_end(self, t: Array, r: Array, move: Ints, *, start: bool = False) -> tuple[Array, Array]:
        """Return how far tools are from the ends (or starts) of moves: mm and rad, each (n,)."""
        tip, turned = self.tools(t, r, move)
        p, _, q, _ = self._at(np.full(len(move), 0.0 if start else 1.0), move)
        return np.sqrt(((tip - p) ** 2).sum(1)), np.sqrt((self._away(turned, q) ** 2).sum(1))

    def _away(self, turned: Array, wanted: Array) -> Array:
        """Return the turn vectors (n, 3) from orientations ``wanted`` to ``turned`` (n, 3, 3), or of their axes."""
        if not self._axis_only:
            return _small_turn(turned @ wanted.swapaxes(1, 2))
        across = np.cross(wanted[:, :, 2], turned[:, :, 2])
        sine = np.sqrt((across**2).sum(1))
        angle = np.arctan2(sine, (wanted[:, :, 2] * turned[:, :, 2]).sum(1))
        out: Array = across * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-12), 1.0)[:, None]
        return out

    def lengths(self, move: Ints) -> Array:
        """Return the way of the tip in moves (n,), mm."""
        out: Array = np.sqrt((self._delta[:3, move] ** 2).sum(0))
        k = self._arc[move]
        on = k >= 0
        arm = self.moves.start[:3, move[on]] - self.moves.arcs.centre[:, k[on]]
        out[on] = np.maximum(out[on], np.sqrt((arm**2).sum(0)) * np.abs(self._sweep[k[on]]))
        return out

    def rotations(self, angles: Array) -> Array:
        """Return rotations (n, 3, 3) of angles (3, n), rad, about fixed axes in the machine's order."""
        return self._turned(angles, np.zeros_like(angles))[0]

    def _at(self, u: Array, move: Ints) -> tuple[Array, Array, Array, Array]:
        """Return tip and its derivative (n, 3), orientation (n, 3, 3) and its turn vector (n, 3), at shares u."""
        delta = self._delta[:, move]
        q = self.moves.start[:, move] + delta * u
        p, dp = q[:3].T.copy(), delta[:3].T.copy()
        on = np.flatnonzero(self._arc[move] >= 0)
        if on.size:
            p[on], dp[on] = self._round(u[on], move[on])
        turned, twist = self._turned(q[3:], delta[3:])
        return p, dp, turned, twist

    def _round(self, u: Array, move: Ints) -> tuple[Array, Array]:
        k = self._arc[move]
        arcs, n = self.moves.arcs, np.arange(len(move))
        axis = arcs.axis[k].astype(np.int64)
        i, j = (axis + 1) % 3, (axis + 2) % 3
        start, end, centre = self.moves.start[:3, move], self.moves.end[:3, move], arcs.centre[:, k]
        x, y = start[i, n] - centre[i, n], start[j, n] - centre[j, n]
        r0, r1 = np.hypot(x, y), np.hypot(end[i, n] - centre[i, n], end[j, n] - centre[j, n])
        angle, radius = np.arctan2(y, x) + self._sweep[k] * u, r0 + (r1 - r0) * u
        p, dp = np.empty((len(move), 3)), np.empty((len(move), 3))
        c, s = np.cos(angle), np.sin(angle)
        p[n, i], p[n, j] = centre[i, n] + radius * c, centre[j, n] + radius * s
        dp[n, i] = (r1 - r0) * c - radius * s * self._sweep[k]
        dp[n, j] = (r1 - r0) * s + radius * c * self._sweep[k]
        rise = end[axis, n] - start[axis, n]
        p[n, axis], dp[n, axis] = start[axis, n] + rise * u, rise
        return p, dp

    def _arc_share(self, tip: Array, move: Ints) -> Array:
        """Return a first guess of the share: by the angle about the axis, whole turns by the rise."""
        k, n = self._arc[move], np.arange(len(move))
        arcs = self.moves.arcs
        axis = arcs.axis[k].astype(np.int64)
        i, j = (axis + 1) % 3, (axis + 2) % 3
        centre, start = arcs.centre[:, k], self.moves.start[:3, move]
        sweep = self._sweep[k]
        begin = np.arctan2(start[j, n] - centre[j, n], start[i, n] - centre[i, n])
        now = np.arctan2(tip[n, j] - centre[j, n], tip[n, i] - centre[i, n])
        turned = (now - begin) * np.sign(sweep)
        before = np.maximum(pi - np.abs(sweep) / 2.0, 0.0)  # what lies nearer to the start than to the end
        turned -= 2.0 * pi * np.floor((turned + before) / (2.0 * pi))
        rise = self.moves.end[axis, move] - start[axis, n]
        risen = (tip[n, axis] - start[axis, n]) / np.where(np.abs(rise) > 1e-9, rise, np.inf)
        whole = np.maximum(np.round((risen * np.abs(sweep) - turned) / (2.0 * pi)), 0.0)
        out: Array = np.clip((turned + 2.0 * pi * whole) / np.maximum(np.abs(sweep), 1e-12), 0.0, 1.0)
        return out

    def _turned(self, angles: Array, delta: Array) -> tuple[Array, Array]:
        """Return rotations (n, 3, 3) of angles (3, n) in the machine's order, and turn vectors (n, 3) of changes."""
        n = angles.shape[1]
        out, twist = np.tile(np.eye(3), (n, 1, 1)), np.zeros((n, 3))
        for axis in self._order:
            about = np.zeros((n, 3, 3))
            j, k = (axis + 1) % 3, (axis + 2) % 3
            about[:, axis, axis] = 1.0
            about[:, j, j] = about[:, k, k] = np.cos(angles[axis])
            about[:, k, j] = np.sin(angles[axis])
            about[:, j, k] = -about[:, k, j]
            out = about @ out
            twist = np.einsum("nij,nj->ni", about, twist)
            twist[:, axis] += delta[axis]
        return out, twist


def _small_turn(r: Array) -> Array:
    """Return the turn vectors (n, 3) of small rotations; of large ones, something large."""
    skew = np.stack([r[:, 2, 1] - r[:, 1, 2], r[:, 0, 2] - r[:, 2, 0], r[:, 1, 0] - r[:, 0, 1]], axis=1) / 2.0
    sine = np.sqrt((skew**2).sum(1))
    angle = np.arctan2(sine, (np.einsum("nii->n", r) - 1.0) / 2.0)
    out: Array = skew * np.where(sine > 1e-9, angle / np.maximum(sine, 1e-9), 1.0)[:, None]
    return out


def _sweeps(moves: Moves) -> Array:
    """Return the turns (k,) of the arcs that lead exactly from their start to their end, rad."""
    arcs, m = moves.arcs, moves.arcs.move
    n, axis = np.arange(len(m)), arcs.axis.astype(np.int64)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    angles = []
    for place in (moves.start[:3, m], moves.end[:3, m]):
        v = place - arcs.centre
        angles.append(np.arctan2(v[j, n], v[i, n]))
    exact = angles[1] - angles[0]
    out: Array = exact + 2.0 * pi * np.round((arcs.turn - exact) / (2.0 * pi))
    return out
