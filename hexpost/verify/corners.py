"""How far a tool may be from its move: the rule of this proof for corners and dense chains.

Between stops the tool may leave both moves of a joint by the corner tolerances, nowhere else. How far before and
behind the joint follows: of all curves that leave two straight sides equally far from their joint, meet both with first
and second derivative and are of least degree (quintics), that of half-length d is 3/16 d |jump| from the joint at its
vertex. A tool that stays within the tolerance there leaves the sides no further off; at most half of each move is
taken. In chains of short moves that corners take whole, the vertices may also be moved by up to 0.4 of the tolerance,
to free them of the rounding of their coordinates. And a chain of at least five straight moves that are short, or that
corners take whole, may be run as one smooth curve: each of its rows is within the tolerances of the very move that it
is said to be on, and these come in order. A tool that turns back rests at the end of the move.
"""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import ToolTip
from hexpost.verify.route import Stretch
from hexpost.verify.struts import Angles

VERTEX, BEND, BEND_UNEQUAL, TWIST = 3.0 / 16.0, 0.0108, 0.0202, 0.0115
"""Largest distances of such quintics: by a jump of first and second derivatives, and by the third one of arcs."""
CARRY = 0.01728
"""The same by second derivatives that are carried through the middle of a move."""
MOST_TURN, MOST_UNEQUAL = 0.5, 3.0
MOVED = 0.4
GENTLE = 0.31
SHORT, FEWEST = 0.5, 5
"""Moves no longer than this, mm, may belong to a smoothed chain, if so many follow each other."""
_ASTRAY = 1.5
"""Seen along its move, a row of such a chain lies beyond it by at most this share of the larger tolerance."""
_BACK, _ALONG, _AGAINST = cos(radians(150.0)), cos(radians(1.0)), sin(radians(1.0))
_BEYOND = 0.3
"""Seen along a straight move, a row of its corner lies beyond the joint by at most this share of what it lies aside."""
_LEAST = 1e-300
_CRUMB = 2e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zones:
    """By moves of a stretch (w,): mm from their start and their end within which a corner may lie.

    ``tip`` and ``tilt`` (2, w): how far off the tool may be in the zone at the start, at the end; ``jump`` (2, w): how
    much the direction changes there, at the joint and by the bend of arcs; ``beyond`` (2, w): how far beyond the joint
    it may be, mm. ``loose`` (w,): an end of the move may be moved. ``stop`` (w,): the tool rests at its end.
    """

    first: Array
    last: Array
    tip: Array
    tilt: Array
    jump: Array
    beyond: Array
    loose: Flags
    stop: Flags


@dataclass(slots=True, eq=False)
class _Joints:
    """Joints behind all moves but the last, shape (m,): jumps, as in the module's text, and both lengths."""

    tip: Array
    tilt: Array
    bend: Array
    twist: Array
    limit: Array
    curved: Flags
    before: Array
    after: Array
    whole: Array


def zones(stretch: Stretch, limits: ToolTip, angles: Angles) -> Zones:
    """Return the zones of the moves of a stretch; those of its first two and last two moves are not to be used."""
    rho, tol, tol_tilt = stretch.rho, limits.corner_tolerance, limits.corner_tolerance_tilt
    j = _joints(stretch)
    end = stretch.start[1:]
    stop = stretch.stop[:-1] | _turns_back(j, stretch, end, tol, angles)
    reach = np.where(stop, 0.0, _reach(j, tol, tol_tilt))
    loose = _moved(j, stretch, reach, stop)
    shift_most = np.where(loose, MOVED * 1.1 * tol, 0.0)
    loose |= _chained(stretch, reach, stop)
    near = loose[1:] | loose[:-1]
    if near.any():  # directions may change by what their ends are moved, relative to their lengths
        shift = np.minimum(0.11, shift_most / stretch.length)
        less = np.maximum(j.whole - shift[1:] - shift[:-1], _LEAST)
        wider = np.minimum((1.0 - MOVED) * tol / VERTEX / less, j.limit)
        reach = np.where(near & ~stop, np.maximum(reach, wider), reach)
    d1, d2 = np.minimum(reach, 0.5 * j.before), np.minimum(reach, 0.5 * j.after)
    unequal = np.where(near, np.inf, MOST_UNEQUAL)
    d1, d2 = np.minimum(d1, unequal * d2), np.minimum(d2, unequal * d1)
    tip, tilt = _off(j, d1, d2, stretch)
    tip, tilt = np.where(near, tol, np.minimum(tip, tol)), np.where(near, tol_tilt, np.minimum(tilt, tol_tilt))
    w = stretch.count
    first, last = np.zeros(w), np.zeros(w)
    first[1:], last[:-1] = d2, d1
    last = np.where(stretch.length - first - last < _CRUMB * stretch.length, stretch.length - first, last)
    first, last = (np.where(loose, 0.5 * stretch.length, x) for x in (first, last))
    out = [np.zeros((2, w)) for _ in range(4)]
    beyond = np.where(j.curved, 1.0, np.where(near, _ASTRAY, _BEYOND)) * np.maximum(tip, rho * tilt)
    jump = np.where(near, np.minimum(j.whole, GENTLE), j.whole + j.bend * np.maximum(d1, d2))
    for both, values in zip(out, (tip, tilt, jump, beyond), strict=True):
        both[0, 1:], both[1, :-1] = values, values
    for both, most in zip(out[::3], (tol, _ASTRAY * max(tol, rho * tol_tilt)), strict=True):
        both[:, loose] = most
    out[1][:, loose] = tol_tilt
    stops = np.append(stop, True)
    return Zones(first=first, last=last, tip=out[0], tilt=out[1], jump=out[2], beyond=out[3], loose=loose, stop=stops)


def _joints(s: Stretch) -> _Joints:
    before, bend_before, twist_before = s.tangents(end=True)
    after, bend_after, twist_after = s.tangents(end=False)
    jump = after[:, 1:] - before[:, :-1]
    tip, tilt = np.sqrt((jump[:3] ** 2).sum(axis=0)), np.sqrt((jump[3:] ** 2).sum(axis=0))
    rate = np.zeros(s.count)
    rate[s.arcs.move] = np.abs(s.arcs.sweep) / s.length[s.arcs.move]
    limit = MOST_TURN / np.maximum(np.maximum(rate[1:], rate[:-1]), _LEAST)
    arc = s.curved >= 0
    bend = np.sqrt(((bend_after[:, 1:] - bend_before[:, :-1]) ** 2).sum(axis=0))
    return _Joints(
        tip=tip, tilt=tilt, bend=bend, twist=twist_before[:-1] + twist_after[1:], limit=limit,
        curved=arc[1:] | arc[:-1], before=s.length[:-1], after=s.length[1:], whole=np.hypot(tip, s.rho * tilt),
    )  # fmt: skip


def _reach(j: _Joints, tip: float, tilt: float) -> Array:
    """Return how far (m,) a corner within the tolerances reaches: 3/16 d |jump| + 0.0108 d2 |jump of bend| = tip."""
    straight = VERTEX * j.tip
    root = straight + np.sqrt(straight**2 + 4.0 * BEND * tip * j.bend)
    out = np.minimum(2.0 * tip / np.maximum(root, _LEAST), tilt / np.maximum(VERTEX * j.tilt, _LEAST))
    return np.minimum(out, j.limit)


def _off(j: _Joints, d1: Array, d2: Array, stretch: Stretch) -> tuple[Array, Array]:
    """Return how far off tip and tilt may be (m,) in corners that reach ``d1`` and ``d2`` into their moves."""
    d = np.maximum(d1, d2)
    bend = np.where(d1 == d2, BEND, BEND_UNEQUAL)
    tip = d * (VERTEX * j.tip + d * (bend * j.bend + d * (TWIST * j.twist)))
    tilt = d * VERTEX * j.tilt
    taken = np.zeros(stretch.count)
    taken[1:] += d2
    taken[:-1] += d1
    whole = taken >= (1.0 - _CRUMB) * stretch.length
    if whole.any() and len(d) > 1:
        size = 0.5 * stretch.length[:-2] + stretch.length[1:-1] + 0.5 * stretch.length[2:]
        out = []
        for off, jump in ((tip, j.tip), (tilt, j.tilt)):
            second = np.zeros(stretch.count)
            second[1:-1] = np.where(whole[1:-1], (jump[1:] + jump[:-1]) / size, 0.0)
            out.append(off + np.where(j.curved, 0.0, CARRY * (d1 + d2) ** 2 * (second[1:] + second[:-1])))
        return out[0], out[1]
    return tip, tilt


def _chained(stretch: Stretch, reach: Array, stop: Flags) -> Flags:
    """Return which moves (w,) may belong to a chain that is run as one smooth curve."""
    room = np.zeros(stretch.count + 1)
    room[1:-1] = reach
    whole = np.minimum(room[1:], room[:-1]) > stretch.length
    short = ((stretch.length <= SHORT) | whole) & ~_near_arcs(stretch, stop)
    new = np.append(True, stop | (short[1:] != short[:-1]))
    number = np.cumsum(new) - 1
    out: Flags = short & (np.bincount(number) >= FEWEST)[number]
    return out


def _near_arcs(stretch: Stretch, stop: Flags) -> Flags:
    """Return which moves (w,) are arcs or beside one, with no stop (w - 1,) between."""
    arc = stretch.curved >= 0
    out: Flags = arc.copy()
    out[1:] |= arc[:-1] & ~stop
    out[:-1] |= arc[1:] & ~stop
    return out


def _moved(j: _Joints, stretch: Stretch, reach: Array, stop: Flags) -> Flags:
    """Return which moves (w,) have an end that may be moved."""
    room = np.zeros(stretch.count + 1)
    room[1:-1] = reach
    crowded = (np.minimum(room[1:], room[:-1]) > stretch.length) & ~_near_arcs(stretch, stop)
    moved = crowded[1:] & crowded[:-1] & (j.whole < GENTLE)
    loose = np.zeros(stretch.count, dtype=bool)
    loose[1:] |= moved
    loose[:-1] |= moved
    return loose


def _turns_back(j: _Joints, stretch: Stretch, end: Array, tol: float, angles: Angles) -> Flags:
    """Return the joints (m,) at which the tool turns back.

    By more than 150 degrees: the tip, where both moves are longer than the tolerance, or all six coordinates together.
    And where a move along the axis of the tool is taken back by its neighbour, at whatever slope.
    """
    before, after = stretch.tangents(end=True)[0][:, :-1], stretch.tangents(end=False)[0][:, 1:]
    dot = (before[:3] * after[:3]).sum(axis=0)
    turn = dot + stretch.rho**2 * (before[3:] * after[3:]).sum(axis=0)
    sizes = [np.sqrt((t[:3] ** 2).sum(axis=0)) for t in (before, after)]
    moves = np.minimum(sizes[0] * j.before, sizes[1] * j.after) > tol
    both = sizes[0] * sizes[1]
    back: Flags = (turn < _BACK) | (moves & (dot < _BACK * both))
    doubt: Ints = np.flatnonzero(moves & ~back & (dot < -_AGAINST * both))
    if len(doubt):
        axis = angles.matrices(end[doubt, 3:].T)[:, :, 2].T
        for t, size in zip((before, after), sizes, strict=True):
            back[doubt] |= np.abs((t[:3, doubt] * axis).sum(axis=0)) > _ALONG * size[doubt]
    return back
