"""Speed, acceleration and jerk of the struts between samples: bounds from the schedule, looks where near a limit."""

from typing import Protocol

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.kinematics.struts import Struts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Poses, Setpoints, TickBounds

FINE = np.arange(21) / 20
"""Where in a tick struts are looked at; the jerk is the mean from one look to the next."""
AT_ONCE = 1024
"""Ticks that are looked at together."""
SPREAD = 0.1
"""Within an even tick the jerk of a strut leaves its mean by less than this share of a limit or of the mean."""
COLUMNS = ("speed", "acceleration", "jerk", "speeding", "slowing")
"""What is looked at; the last two where a strut has another limit for slowing down."""
STANDS = 1e-3
"""A strut slower than this, mm/s, stands: it may be about to turn round, and keeps both limits."""


class Schedule(Protocol):
    """What a motion does between its samples."""

    def bounds(self, tick: Ints) -> TickBounds:
        """Return bounds for the ticks that end at consecutive samples (n,)."""

    def looks(self, tick: Array, frame: int) -> Poses:
        """Return poses at rising times in ticks, all in one frame."""


class Within:
    """What struts do in the ticks of a batch, where its samples do not show that a limit is broken."""

    def __init__(self, schedule: Schedule, machine: Machine, poses: Attitudes) -> None:
        self._schedule, self._poses, self._period = schedule, poses, machine.period
        names = ("speed", "acceleration", "jerk")
        self._most = np.array([[[getattr(s, name)] for s in machine.struts] for name in names])
        self._two = machine.struts_slow_otherwise
        np.minimum(self._most[1], [[s.slowing] for s in machine.struts], out=self._most[1])
        self._last: Array = np.zeros((2, 6, 1))
        self._found: LastAnswer[Setpoints, tuple[Ints, Array]] = LastAnswer()

    def of(self, setpoints: Setpoints, column: str) -> tuple[Ints, Array]:
        """Return the ticks (m,) of a batch that were looked at, and the values (6, m) of largest size in each."""
        at, found = self._found.of(setpoints, lambda: self._looked_at(setpoints))
        return at, found[COLUMNS.index(column)]

    def _looked_at(self, setpoints: Setpoints) -> tuple[Ints, Array]:
        """Return the ticks (m,) that may break a limit between samples, and their largest values (columns, 6, m)."""
        at, poses, struts = self._near(setpoints), setpoints.poses, self._poses.struts(setpoints)
        out: Array = np.empty((len(COLUMNS) if self._two else 3, 6, len(at)))
        for low in range(0, len(at), AT_ONCE):
            some = at[low : low + AT_ONCE]
            tick = (poses.tick[some, None] - 1 + FINE).ravel()
            looks = self._schedule.looks(tick, poses.frame)
            _, speed, acceleration = struts.derivatives([looks.pose, looks.rate, looks.acceleration])
            shape = (6, len(some), len(FINE))
            speed, acceleration = speed.reshape(shape), acceleration.reshape(shape)
            jerk = np.diff(acceleration, axis=2) / (self._period * FINE[1])
            columns = [speed, acceleration, jerk]
            if self._two:
                columns += [acceleration * felt for felt in senses(speed, acceleration)]
            for k, values in enumerate(columns):
                top = np.abs(values).argmax(axis=2)
                out[k, :, low : low + AT_ONCE] = np.take_along_axis(values, top[:, :, None], axis=2)[:, :, 0]
        return at, out

    def _near(self, setpoints: Setpoints) -> Ints:
        """Return the ticks (m,) whose bounds do not clear them.

        A speed is beyond those at both ends of a tick only where the acceleration changes its sign in it, and is then
        at most J dt^2 / 8 beyond; an acceleration likewise, J dt / 2.
        """
        dt, (speed, acceleration, most) = self._period, self._most
        bounds = self._schedule.bounds(setpoints.poses.tick)
        jerk, mean = (
            _jerks(bounds, self._poses.struts(setpoints), float(setpoints.length.min())),
            np.abs(setpoints.jerk),
        )
        now = np.stack([setpoints.speed, setpoints.acceleration])
        before = np.concatenate([self._last, now[:, :, :-1]], axis=2)
        self._last = now[:, :, -1:].copy()
        top = np.maximum(np.abs(now), np.abs(before))
        swing = np.where(bounds.even, SPREAD * (mean + most), jerk)
        near = (top[0] + jerk * (dt * dt / 8.0) > speed) | (top[1] + swing * (dt / 2.0) > acceleration)
        near |= (jerk > most) & (~bounds.even | (mean > (1.0 - SPREAD) * most))
        return np.flatnonzero(near.any(axis=0))


def senses(speed: Array, acceleration: Array) -> tuple[Flags, Flags]:
    """Return where struts speed up, and where they slow down, by speeds and accelerations of one shape."""
    stands = np.abs(speed) <= STANDS
    slows = (speed < 0.0) != (acceleration < 0.0)
    return ~slows | stands, slows | stands


def _jerks(bounds: TickBounds, struts: Struts, length: float) -> Array:
    """Return the largest jerk (n,) that any strut not shorter than ``length`` may have in each tick.

    With the sum of the three angle rates w, the arm b moves at most with w |b|, and so on. From l^2 = x.x, three times
    differentiated: l l3 = x.x3 + 3 (x1.x2 - l1 l2), the numbers for derivatives; l1 <= |x1|, l2 <= |x2| + x1^2 / l.
    """
    b = float(np.linalg.norm(struts.platform, axis=1).max())
    w, growth, third = np.sqrt(3.0) * bounds.tilt
    turn = growth + w * w
    third = third + 3.0 * w * growth + 2.0 * w**3
    x1 = bounds.tip[0] + w * b
    x2 = bounds.tip[1] + (turn + w * w) * b
    x3 = bounds.tip[2] + (third + 3.0 * w * turn + w**3) * b
    out: Array = x3 + 3.0 * x1 * x2 / length + 3.0 * x1**3 / length**2
    return out
