"""Limits of the six struts along the path: slopes of their lengths, and bounds on speed and ramps made of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, distinct
from hexpost.feed.bounds import HUGE, TINY, Norms
from hexpost.feed.model import AT_CORNER, strut_cause
from hexpost.feed.stretches import Stretches, causes, tagged
from hexpost.feed.thrusts import ThrustLimits, ThrustParts, thrust_limits
from hexpost.kinematics.struts import Coordinates, StrutModel, Struts
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.path.model import ToolPath, corners

AIM, AIM_RAPID = 0.999, 0.98
"""Share of the strut limits that samples must keep; rapids, which have no programmed speed, stay 2 % under them."""
PLANNED = 0.985
"""Share of that for accelerations and jerks of the plan, where corrections must have room."""
SAGGING = 0.01
"""Share of the speed limits that is left for what commands make up for: some 1e-3 of the speed (measured)."""
CURVATURE_SHARE, CURVATURE_MOST = 0.9, 0.97
"""Share of a strut's acceleration that the curvature of its length may take; the rest is left for ramps.

The second where the bounds are those within reach: there ramps have what the curvature leaves at each place.
"""
BETWEEN = 1.005
"""How much larger a slope may be than where it is looked at in a stretch; the corrections see what is more."""
MOST_ROOM = 0.2
"""Where the derivatives of the pose there are less than this share of the largest on the piece, it stands in."""
THRUST = 3
"""The kind of cause of a thrust."""
BLOCK = 2048
"""Stretches that are bounded together."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StrutLimits:
    """Speed, acceleration and jerk limits (6, 1) of the struts, as seen from the frame of each piece.

    ``slowing`` (6, 1): limits of the accelerations of struts that slow down.
    ``aim`` (p,): share of the limits that holds on each piece; 0 where the struts are not looked at.
    """

    speed: Array
    acceleration: Array
    slowing: Array
    jerk: Array
    aim: Array
    frame: Ints
    seen: tuple[Struts | Coordinates, ...]
    thrusts: ThrustLimits | None

    @property
    def two_sided(self) -> bool:
        """Return whether a strut has another limit for slowing down."""
        return bool((self.acceleration != self.slowing).any())

    @property
    def least(self) -> Array:
        """Return the accelerations (6, 1) that struts may have whether they speed up or slow down."""
        return np.minimum(self.acceleration, self.slowing)

    def pull(self, piece: Ints, q: Sequence[Array]) -> ThrustParts | None:
        """Return the parts of the thrusts at poses and derivatives ``q`` (6, n) on pieces (n,), if they are limited."""
        if self.thrusts is None:
            return None
        return self.thrusts.parts(piece, self.frame[piece], q, self.aim[piece])

    def slopes(self, piece: Ints, q: Sequence[Array]) -> list[Array]:
        """Return l', l'', ... (6, n) with respect to the path; ``q`` pose and derivatives (6, n) on pieces (n,)."""
        frame = self.frame[piece]
        if not len(frame) or (frame == frame[0]).all():
            return self.seen[int(frame[0]) if len(frame) else 0].derivatives(q)[1:]
        out = [np.empty_like(q[0]) for _ in q[1:]]
        for k in distinct(frame):
            at = np.flatnonzero(frame == k)
            for x, y in zip(out, self.seen[int(k)].derivatives([x[:, at] for x in q])[1:], strict=True):
                x[:, at] = y
        return out


def strut_limits(path: ToolPath, moves: Moves, machine: Machine, *, rapids_only: bool) -> StrutLimits:
    """Return the limits of the struts on all pieces, or only on rapids; axes are run at all of theirs."""
    rapid = moves.feed_mode[path.move] == FEED_RAPID
    seen: tuple[Struts | Coordinates, ...] = (Coordinates(),) * len(moves.frames)
    makes_up = machine.compensation is not None and machine.compensation.sag
    thrusts, aim = None, np.where(rapid, AIM_RAPID, 0.0 if rapids_only else AIM)
    if machine.by_axes:
        aim = np.where(aim > 0.0, 1.0, 0.0)
    else:
        model = StrutModel(machine)
        seen = own = tuple(model.in_frame(f.base_from_work, f.tip, f.yaw) for f in moves.frames)
        thrusts = thrust_limits(machine, moves, own, ~rapid)
    return StrutLimits(
        speed=np.array([[s.speed * (1.0 - SAGGING * makes_up)] for s in machine.struts]),
        acceleration=np.array([[s.acceleration] for s in machine.struts]),
        slowing=np.array([[s.slowing] for s in machine.struts]),
        jerk=np.array([[s.jerk] for s in machine.struts]),
        aim=aim,
        frame=moves.frame[path.move].astype(np.int64),
        seen=seen,
        thrusts=thrusts,
    )


def bounded(
    st: Stretches,
    shares: Norms,
    path: ToolPath,
    norms: Array,
    limits: StrutLimits,
    *,
    curvature: float = CURVATURE_SHARE,
) -> tuple[Stretches, Norms]:
    """Return the stretches bounded by the struts where these are looked at.

    And the shares of the limits with those of the struts in them; ``norms`` (2, 3, p) as ``ToolPath.norms_max`` gives;
    ``curvature``: share of accelerations that the curvature of lengths may take.
    """
    cap, cause = st.cap.copy(), causes(st.cap)
    up, down, hold = st.up.copy(), st.down.copy(), st.hold.copy()
    jerk, jerk_hold = st.jerk.copy(), st.jerk_hold.copy()
    speed, worst = np.full(path.count, np.inf), np.zeros((5, path.count))
    for k in _blocks(limits.aim[st.piece] > 0):
        rows, piece = _rows(st, k, path, norms, limits), st.piece[k]
        corner = np.where(corners(path.kind[piece]), AT_CORNER, 0).astype(np.uint8)
        for kind, other in enumerate(rows.caps(curvature)):
            cap[k], cause[k] = _least(cap[k], cause[k], other, kind, corner)
        up[k], down[k], hold[k] = _ramped(rows, cap[k], (up[k], down[k], hold[k]))
        jerk[k], jerk_hold[k] = _least(jerk[k], jerk_hold[k], rows.jerks(), 2)
        v, uses = rows.uses()
        np.minimum.at(speed, piece, v)
        for w, use in zip(worst, uses, strict=True):
            np.maximum.at(w, piece, use)
    names = ("a1", "a2", "j1", "j2", "j3")
    return (
        replace(st, cap=tagged(cap, cause), up=up, down=down, hold=hold, jerk=jerk, jerk_hold=jerk_hold),
        replace(
            shares,
            free=np.minimum(shares.free, speed),
            struts=np.where(limits.aim > 0, [*worst, speed], [[HUGE]] * 5 + [[TINY]]),
            **{n: np.maximum(getattr(shares, n), w) for n, w in zip(names, worst, strict=True)},
        ),
    )


def steepest(st: Stretches, k: Ints, path: ToolPath, norms: Array, limits: StrutLimits) -> Stretches:
    """Return the stretches with ramps of stretches ``k`` bounded by the struts, too, at any speed under their caps."""
    up, down, hold = st.up.copy(), st.down.copy(), st.hold.copy()
    for at in _blocks(limits.aim[st.piece[k]] > 0):
        i = k[at]
        up[i], down[i], hold[i] = _ramped(_rows(st, i, path, norms, limits), st.cap[i], (up[i], down[i], hold[i]))
    return replace(st, up=up, down=down, hold=hold)


def _ramped(rows: "_Rows", cap: Array, bounds: tuple[Array, Array, Codes]) -> tuple[Array, Array, Codes]:
    """Return bounds of accelerations and decelerations (n,), and their cause, lowered to those of the struts."""
    up, down, hold = bounds
    for kind, (more, less) in rows.steepest(cap):
        hold = _least(np.minimum(up, down), hold, np.minimum(more, less), kind)[1]
        up, down = np.minimum(up, more.min(axis=0)), np.minimum(down, less.min(axis=0))
    return up, down, hold


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rows:
    """Slopes l', l'' (6, n) at start, middle and end of stretches, and the share of the limits to keep.

    ``most`` (6, n): the largest size of l', l'', l'''; ``room`` (n,): how much larger they may be on the piece.
    """

    at: list[list[Array]]
    most: list[Array]
    pull: list[ThrustParts]
    aim: Array
    room: list[Array]
    limits: StrutLimits

    def caps(self, curvature: float) -> list[Array]:
        """Return bounds (6, n) of the speed squared by speed, acceleration, jerk, thrust of each strut."""
        aim, limits = self.aim, self.limits
        jerk: Array = limits.jerk * (PLANNED * aim) / self.most[2]
        thrust = [p.caps(curvature, PLANNED, BETWEEN) for p in self.pull]
        return [
            np.minimum(limits.speed * aim / self.most[0], HUGE**0.5) ** 2,
            self._curving() * (curvature * PLANNED * aim) / self.most[1],
            np.minimum(np.cbrt(jerk), HUGE**0.5) ** 2,
            *([np.minimum.reduce(thrust)] if thrust else []),
        ]

    def _curving(self) -> Array:
        """Return the limits (6, n) of what curvature alone may take: it speeds a strut up, slows it down, or both.

        What turns about within a stretch is held by the lower limit.
        """
        if not self.limits.two_sided:
            return self.limits.acceleration
        slows, speeds = ([np.copysign(1.0, slope) * curve * way > 0 for slope, curve in self.at] for way in (-1.0, 1.0))
        limits: Array = np.where(np.all(slows, axis=0), self.limits.slowing, self.limits.least)
        return np.where(np.all(speeds, axis=0), self.limits.acceleration, limits)

    def ramps(self, cap: Array) -> tuple[Array, Array]:
        """Return the largest accelerations and decelerations (6, n) along the path, for any speed under the cap.

        |l' u + l'' x| <= A for all x of 0 to ``cap``: what the curvature takes counts only where it adds. A tool that
        goes faster along its path has struts that do, each in its own sense, but for their curvature.
        """
        out = []
        for sign, limit in ((1.0, self.limits.acceleration), (-1.0, self.limits.slowing)):
            most = limit * (PLANNED * self.aim)
            bend: Array = np.zeros_like(self.at[0][0])
            for slope, curve in self.at:
                np.maximum(bend, np.copysign(1.0, sign * slope) * curve * cap, out=bend)
            out.append(np.maximum(most - BETWEEN * bend, 0.0) / self.most[0])
        return out[0], out[1]

    def steepest(self, cap: Array) -> Iterator[tuple[int, tuple[Array, Array]]]:
        """Yield kinds of cause and the largest accelerations and decelerations: by struts, and by their thrusts."""
        yield 1, self.ramps(cap)
        if self.pull:
            up, down = ([p.ramps(cap, sign, PLANNED, BETWEEN) for p in self.pull] for sign in (1.0, -1.0))
            yield THRUST, (np.minimum.reduce(up), np.minimum.reduce(down))

    def jerks(self) -> Array:
        """Return the largest jerk along the path (6, n) of each strut at a crawl."""
        out: Array = self.limits.jerk * (PLANNED * self.aim) / self.most[0]
        return out

    def uses(self) -> tuple[Array, list[Array]]:
        """Return the largest s' (n,), and per unit of s'', s'^2, s''', 3 s' s'', s'^3 the shares of the limits (n,)."""
        a, j = 1 / self.limits.least, 1 / self.limits.jerk
        which = ((0, a), (1, a), (0, j), (1, j), (2, j))
        uses = [(self.most[k] * limit).max(axis=0) * self.room[k] / self.aim for k, limit in which]
        for p in self.pull:
            for i, use in enumerate(p.uses()):
                uses[i] = np.maximum(uses[i], use * self.room[i])
        speed: Array = (self.limits.speed / self.most[0]).min(axis=0) * self.aim / self.room[0]
        return speed, uses


def _blocks(which: Flags) -> Iterator[Ints]:
    """Yield the indices of the set flags, some at a time."""
    here = np.flatnonzero(which)
    for k in range(0, len(here), BLOCK):
        yield here[k : k + BLOCK]


def _rows(st: Stretches, k: Ints, path: ToolPath, norms: Array, limits: StrutLimits) -> _Rows:
    """Return the slopes at start, middle and end of the stretches ``k`` (n,): l''' jumps from piece to piece."""
    n, piece, size = len(k), st.piece[k], st.size[k]
    begin = np.maximum(st.s[k] - path.s0[piece], 0.0)
    where = np.concatenate([piece, piece, piece])
    u = np.concatenate([begin, begin + 0.5 * size, begin + size])
    q = path.evaluate(where, np.minimum(u, path.size[where]), 3)
    slopes, pull = limits.slopes(where, q), limits.pull(where, q)
    places = [slice(i * n, (i + 1) * n) for i in range(3)]
    most = [BETWEEN * _largest(np.abs(x), places) + TINY for x in slopes]
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    seen: Array = np.empty((2, 3, len(first)))
    for order, x in enumerate(q[1:]):
        for side, half in enumerate((x[:3], x[3:])):
            squared = _largest(np.einsum("ij,ij->j", half, half), places)
            seen[side, order] = np.sqrt(np.maximum.reduceat(squared, first))
    seen = np.repeat(seen, np.diff(first, append=n), axis=2)
    norm = norms[:, :, piece]
    room = np.maximum(norm / np.maximum(seen, MOST_ROOM * norm + TINY), 1.0).max(axis=0)
    return _Rows(
        at=[[x[:, p] for x in slopes[:2]] for p in places],
        most=most,
        pull=[pull.take(p) for p in places] if pull else [],
        aim=limits.aim[piece],
        room=list(room),
        limits=limits,
    )


def _largest(x: Array, places: Sequence[slice]) -> Array:
    """Return the largest (..., n) of values (..., m) at some places of stretches."""
    out: Array = np.maximum.reduce([x[..., at] for at in places])
    return out


def _least(cap: Array, cause: Codes, other: Array, kind: int, flag: Codes | int = 0) -> tuple[Array, Codes]:
    """Return the lowest of bounds (n,) and those of the struts (6, n), and its cause."""
    at = other.argmin(axis=0)
    least = other[at, np.arange(len(at))]
    lower = least < cap
    return np.where(lower, least, cap), np.where(lower, strut_cause(at, kind) | flag, cause).astype(np.uint8)
