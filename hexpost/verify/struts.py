"""Lengths of the six struts as functions of the program's own six coordinates in one of its frames.

With X the programmed point, b_k the platform joints counted from it and a_k the base joints seen in the work frame,
strut k is the vector X + R(A B C) b_k - a_k (Merlet, Parallel Robots, 2nd ed. 2006, section 5.5, for its derivatives).
A pose found from lengths is compared with a move by subtraction, and the inverse of the derivatives makes the speed of
the programmed point from those of the struts. Written for this proof alone.
"""

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame

_COLUMNS = 1024
"""Poses whose lengths are worked out at a time: one processor keeps them at hand, and no others are woken for them."""


class Angles:
    """Rotations by three angles about fixed axes, in the machine's order (the first named turns first).

    In axes renamed after the order it is always Rz Ry Rx; where that swaps handedness, angles change their sign.
    """

    def __init__(self, order: str) -> None:
        self.axes = ("ABC".index(order[0]), "ABC".index(order[1]), "ABC".index(order[2]))
        first, second, _ = self.axes
        self.sign = 1.0 if (second - first) % 3 == 1 else -1.0
        self._entry = [3 * i + j for i in self.axes for j in self.axes]

    def entries(self, angles: Array, out: Array) -> tuple[Array, Array]:
        """Put the nine entries of R, row by row, into ``out`` (9, n); return sine and cosine (n,) of the last turn."""
        first, second, third = self.axes
        s, c = np.sin(angles), np.cos(angles)
        if self.sign < 0.0:
            np.negative(s, out=s)
        sa, sb, sc = s[first], s[second], s[third]
        ca, cb, cc = c[first], c[second], c[third]
        sbsa, sbca = sb * sa, sb * ca
        e = self._entry
        np.multiply(cc, cb, out=out[e[0]])
        np.subtract(cc * sbsa, sc * ca, out=out[e[1]])
        np.add(cc * sbca, sc * sa, out=out[e[2]])
        np.multiply(sc, cb, out=out[e[3]])
        np.add(sc * sbsa, cc * ca, out=out[e[4]])
        np.subtract(sc * sbca, cc * sa, out=out[e[5]])
        np.negative(sb, out=out[e[6]])
        np.multiply(cb, sa, out=out[e[7]])
        np.multiply(cb, ca, out=out[e[8]])
        return sc, cc

    def matrices(self, angles: Array) -> Array:
        """Return the rotations (n, 3, 3) of angles (3, n), rad."""
        out = np.empty((9, angles.shape[1]))
        self.entries(angles, out)
        return np.ascontiguousarray(out.reshape(3, 3, -1).transpose(2, 0, 1))

    def turning(self, angles: Array) -> Array:
        """Return the axes (n, 3, 3), one in each column, about which the angles (3, n) turn the platform."""
        first, second, third = self.axes
        entries = np.empty((9, angles.shape[1]))
        s, c = self.entries(angles, entries)
        out = np.zeros((angles.shape[1], 3, 3))
        out[:, :, first] = entries.reshape(3, 3, -1)[:, first].T
        out[:, first, second], out[:, second, second] = -s, c
        out[:, third, third] = 1.0
        return out


class StrutLengths:
    """Lengths (6, n), and their derivatives, of coordinates q (6, n): X Y Z in mm, A B C in rad, in one frame."""

    def __init__(self, machine: Machine, frame: Frame) -> None:
        base = np.array([s.base_joint for s in machine.struts])
        arms = np.array([s.platform_joint for s in machine.struts]) - frame.tip
        work = np.linalg.inv(frame.base_from_work)
        self.angles = Angles(machine.tilt_order)
        self.base: Array = base @ work[:3, :3].T + work[:3, 3]
        self.yaw = about_z(frame.yaw)
        self.arms: Array = arms @ self.yaw.T
        self.frame = frame
        self.lever = float(np.sqrt((arms**2).sum(axis=1)).max())
        self._all = np.zeros((18, 13))  # rows: component, then strut; columns: nine of R, three of X, one
        for c in range(3):
            self._all[6 * c : 6 * c + 6, 3 * c : 3 * c + 3] = self.arms
            self._all[6 * c : 6 * c + 6, 9 + c] = 1.0
            self._all[6 * c : 6 * c + 6, 12] = -self.base[:, c]

    def lengths(self, q: Array) -> Array:
        """Return the lengths (6, n)."""
        out: Array = np.empty((6, q.shape[1]))
        for begin in range(0, q.shape[1], _COLUMNS):
            v = self._vectors(q[:, begin : begin + _COLUMNS])[0]
            np.multiply(v, v, out=v)
            v[0] += v[1]
            v[0] += v[2]
            np.sqrt(v[0], out=out[:, begin : begin + _COLUMNS])
        return out

    def slopes(self, q: Array) -> tuple[Array, Array]:
        """Return the lengths (6, n), and their derivatives by q (n, 6, 6)."""
        first, second, third = self.angles.axes
        v, entries, (s, c) = self._vectors(q)
        length = np.sqrt((v * v).sum(axis=0))
        u = v / length
        arm = v - q[:3, None] + self.base.T[:, :, None]
        m = np.cross(arm, u, axis=0)
        out = np.empty((q.shape[1], 6, 6))
        out[:, :, :3] = u.transpose(2, 1, 0)
        axis = entries.reshape(3, 3, -1)[:, first]
        out[:, :, 3 + first] = (m[0] * axis[0] + m[1] * axis[1] + m[2] * axis[2]).T
        out[:, :, 3 + second] = (m[second] * c - m[first] * s).T
        out[:, :, 3 + third] = m[third].T
        return length, out

    def _vectors(self, q: Array) -> tuple[Array, Array, tuple[Array, Array]]:
        """Return the struts (3, 6, n), the entries of R (9, n), and sine and cosine of the last turn."""
        p = np.empty((13, q.shape[1]))
        last = self.angles.entries(q[3:], p[:9])
        p[9:12] = q[:3]
        p[12] = 1.0
        return (self._all @ p).reshape(3, 6, -1), p[:9], last


def about_z(angle: float) -> Array:
    """Return the rotation (3, 3) by an angle about z."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
