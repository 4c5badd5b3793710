"""Bounds of the as-programmed schedule: programmed feed and tool-tip limits as norms, one stretch per piece."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, among
from hexpost.feed.minima import range_min
from hexpost.feed.model import (
    AT_CORNER,
    FEED,
    TILT_ACCELERATION,
    TILT_JERK,
    TILT_SPEED,
    TIP_ACCELERATION,
    TIP_JERK,
    TIP_SPEED,
)
from hexpost.feed.stretches import Stretches, causes, tagged
from hexpost.machine.model import ToolTip
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP, Moves
from hexpost.path.model import CORNER, REST, ROUND, ToolPath, corners

MARGIN = 0.98
"""Share of acceleration and jerk limits that is planned with, where the correction must have room."""
CURVATURE_SHARE = 0.95
"""Share of the acceleration that curvature may take; the rest is left for the tangent."""
STEP_MM, STEP_RAD = 4.0, 0.1
"""Longest stretch of a line or arc under the struts: travel of the tip, turn of the tool or of an arc."""
CORNER_PARTS = 1.0, 8.0
"""Fewest and most stretches of a rounded corner under the struts."""
MOST_PARTS = 1e4
"""Most stretches that one piece is cut into."""
TINY, HUGE = 1e-100, 1e18
"""A derivative that is nothing; a speed squared that is no bound (both keep divisions and powers in range)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Norms:
    """Per piece, shape (p,): speed caps, and the largest derivatives of the pose as shares of the limits ``tip``.

    ``speed``: largest s' by feed and speed limits; ``free``: up to this s' nothing can be over a speed limit. The
    acceleration is at most ``a1`` |s''| + ``a2`` s'^2 of its limit, the jerk at most ``j1`` |s'''| + 3 ``j2`` s' |s''|
    + ``j3`` s'^3 of its own: what is below 1 needs no look. ``struts`` (6, p), where they are looked at: the same five
    of the struts alone, and the largest s' that is below their speeds.
    """

    tip: ToolTip
    speed: Array
    free: Array
    a1: Array
    a2: Array
    j1: Array
    j2: Array
    j3: Array
    struts: Array | None = None

    def over(self, low: int, first: Ints, last: Ints) -> list[Array]:
        """Return the largest a1, a2, j1, j2, j3 and the least free speed over ranges of pieces counted from ``low``."""
        high = low + int(last.max()) + 1
        worst = [-range_min(-x[low:high], first, last) for x in (self.a1, self.a2, self.j1, self.j2, self.j3)]
        return [*worst, range_min(self.free[low:high], first, last)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Caps:
    """Per piece, shape (p,): the largest s' by feed and speed limits, and its ``cause``.

    ``programmed``: s' by the programmed feed alone, of rapids by the speed limits.
    """

    speed: Array
    cause: Codes
    programmed: Array


def lone_straights(path: ToolPath) -> Ints:
    """Return the spans that are one straight piece, shape (k,): their schedule has a closed form."""
    one = np.flatnonzero(np.diff(path.span_first) == 1)
    out: Ints = one[path.kind[path.span_first[one]] == REST]
    return out


def shares(caps: Caps, tip: ToolTip, norms: Array) -> Norms:
    """Return speed caps and shares of the limits; ``norms`` (2, 3, p) as ``ToolPath.norms_max`` gives them."""
    p, q = norms
    least, least_tilt = (min(a) for a in zip((tip.acceleration, tip.tilt_acceleration), tip.slowing, strict=True))
    return Norms(
        tip=tip,
        speed=caps.speed,
        free=caps.speed,
        a1=np.maximum(p[0] / least, q[0] / least_tilt),
        a2=np.maximum(p[1] / least, q[1] / least_tilt),
        j1=np.maximum(p[0] / tip.jerk, q[0] / tip.tilt_jerk),
        j2=np.maximum(p[1] / tip.jerk, q[1] / tip.tilt_jerk),
        j3=np.maximum(p[2] / tip.jerk, q[2] / tip.tilt_jerk),
    )


def as_programmed(caps: Caps, path: ToolPath, tip: ToolTip, norms: Array) -> Stretches:
    """Return one stretch per piece, shape (p,), bounded by feed and tool-tip limits; ``norms`` as in ``shares``.

    Second derivatives are split: curvature takes |q''| s'^2, the tangent sqrt(A^2 - that^2) / |q'|; the third
    derivative holds s'^3 below J / |q'''|. Norms of tip and tilt, so a turn of the work frame changes nothing.
    """
    cap, cause = np.minimum(caps.speed, HUGE**0.5) ** 2, caps.cause.copy()
    margin = _margins(path)
    p, q = np.maximum(norms, TINY)
    sides = (
        (p, margin * tip.acceleration, margin * tip.jerk, TIP_ACCELERATION, TIP_JERK),
        (q, margin * tip.tilt_acceleration, margin * tip.tilt_jerk, TILT_ACCELERATION, TILT_JERK),
    )
    for n, most, jerk, why, why_jerk in sides:
        _lower(cap, cause, CURVATURE_SHARE * most / n[1], why)
        _lower(cap, cause, (jerk / n[2]) ** (2 / 3), why_jerk)
    cap = tagged(cap, cause | np.where(corners(path.kind), AT_CORNER, 0).astype(np.uint8))
    up, down, hold = tip_ramps(path, slice(None), cap, tip, norms)
    most_jerk, jerk_hold = np.full(len(cap), HUGE), np.zeros(len(cap), dtype=np.uint8)
    for n, _, jerk, _, why_jerk in sides:
        _lower(most_jerk, jerk_hold, jerk / n[0], why_jerk)
    return Stretches(
        piece=np.arange(len(cap)),
        size=path.size,
        cap=cap,
        up=up,
        down=down,
        hold=hold,
        jerk=most_jerk,
        jerk_hold=jerk_hold,
        s=path.s0,
        span=np.repeat(np.arange(len(path.span_first) - 1), np.diff(path.span_first)),
        first=path.span_first,
    )


def tip_ramps(
    path: ToolPath, piece: Ints | slice, cap: Array, tip: ToolTip, norms: Array
) -> tuple[Array, Array, Codes]:
    """Return the largest acceleration and deceleration along pieces (n,) at any speed squared under a cap (n,).

    By tip and tilt. And the cause of the first; ``norms`` as in ``shares``.
    """
    margin, up, hold = _margins(path)[piece], np.full(len(cap), HUGE), np.zeros(len(cap), dtype=np.uint8)
    p, q = np.maximum(norms[:, :, piece], TINY)
    down, slowing = up.copy(), tip.slowing
    sides = (
        (p, tip.acceleration, slowing[0], TIP_ACCELERATION),
        (q, tip.tilt_acceleration, slowing[1], TILT_ACCELERATION),
    )
    for n, most, slow, why in sides:
        ramp = np.sqrt(np.maximum((margin * most) ** 2 - (n[1] * cap) ** 2, 0.0)) / n[0]
        _lower(up, hold, ramp, why)
        np.minimum(down, ramp if slow == most else ramp * (slow / most), out=down)
    return up, down, hold


def parts(path: ToolPath, norms: Array, under: Flags, st: Stretches) -> Ints:
    """Return into how many stretches each piece is cut, shape (p,); ``st`` has one for each.

    Short ones where the struts hold, ``under`` (p,); and arcs that their curvature holds, so that a speed lowered where
    they start is not lowered all the way.
    """
    (p1, p2, _), (q1, _, _) = norms
    turn = p2 / np.maximum(p1, TINY) * path.size / STEP_RAD
    travel = np.maximum(p1 * path.size / STEP_MM, q1 * path.size / STEP_RAD)
    bent = (path.kind == ROUND) & among(causes(st.cap), (TIP_ACCELERATION, TIP_JERK))
    out = np.where(under, np.maximum(travel, turn), np.where(bent, turn, 1.0))
    out = np.where(path.kind >= CORNER, np.where(under, np.clip(turn, *CORNER_PARTS), 1.0), out)
    count: Ints = np.ceil(np.clip(out, 1.0, MOST_PARTS)).astype(np.int64)
    return count


def _margins(path: ToolPath) -> Array:
    """Return the share of the limits of tip and tilt that each piece (p,) is planned with."""
    margin = np.full(len(path.kind), MARGIN)
    margin[path.span_first[lone_straights(path)]] = 1.0  # the closed form keeps limits to the last digit
    return margin


def _lower(bound: Array, cause: Codes, other: Array, why: int) -> None:
    """Lower bounds to others in place, and note why."""
    less = other < bound
    np.copyto(bound, other, where=less)
    cause[less] = why


def speed_caps(path: ToolPath, moves: Moves, tip: ToolTip, norms: Array) -> Caps:
    """Return the largest speeds of pieces by feed and speed limits; ``norms`` as in ``shares``."""
    p, q = np.maximum(norms[:, 0], TINY)
    fastest, turning = tip.speed / p, tip.tilt_speed / np.maximum(path.turns_max(norms[1, 0]), TINY)
    feed, rapid = _feeds(path, moves, p, q), moves.feed_mode[path.move] == FEED_RAPID
    speed, cause = np.full(len(p), HUGE), np.zeros(len(p), dtype=np.uint8)
    for most, why in ((fastest, TIP_SPEED), (turning, TILT_SPEED), (feed, FEED)):
        _lower(speed, cause, most, why)
    return Caps(speed=speed, cause=cause, programmed=np.where(rapid, np.minimum(fastest, turning), feed))


def _feeds(path: ToolPath, moves: Moves, p: Array, q: Array) -> Array:
    """Return the largest s' that the programmed feeds allow on each piece: of all moves that a bent one joins.

    Along a bent piece the tool may go a little farther than s: in tip and tilt as a move is measured.
    """
    own = path.move.astype(np.int64)
    bent = np.flatnonzero(path.kind >= CORNER)
    far = np.stack([p, q, np.ones(len(p))])
    far[2, bent] = np.maximum(np.hypot(p[bent], path.rho * q[bent]), 1.0)
    out = _feed(path, moves, own, far)
    last = np.maximum(path.move_at(bent, path.size[bent]), own[bent] + 1)
    move, last = own[bent] + 1, np.minimum(last, moves.count - 1)
    while (here := move <= last).any():
        bent, move, last = bent[here], move[here], last[here]
        out[bent] = np.minimum(out[bent], _feed(path, moves, move, far[:, bent]))
        move = move + 1
    return out


def _feed(path: ToolPath, moves: Moves, move: Ints, far: Array) -> Array:
    """Return the largest s' that the programmed feed of these moves allows on each piece.

    ``far`` (3, m): how far tip, tilt and both go by s at most.
    """
    feed, mode = moves.feed[move], moves.feed_mode[move]
    out = np.full(len(feed), HUGE)
    tip, tilt, both = far
    for which, per in ((FEED_TIP, 1 / tip), (FEED_TILT, 1 / tilt), (FEED_INVERSE, path.length[move] / both)):
        here = mode == which
        out[here] = np.minimum(feed[here] * per[here], HUGE)
    return out
