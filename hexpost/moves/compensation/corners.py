"""Corners of the tool centre's path: rolled around outside, cut off inside, and where there is no room for them."""

from dataclasses import dataclass
from math import pi

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.moves.compensation.contour import Contour, cross, dot, normal
from hexpost.moves.compensation.meeting import Curve, meet

SLACK = 2e-3
"""Millimetres that the cutter may be too large by: coordinates written to 0.001 mm, twice rounded."""
FINE = 1e-3
"""Millimetres by which the point of a corner may stand off the circle around its vertex and be left pointed."""
HALF_TURN, NEARLY = pi - 1e-9, pi - 0.01
"""Radians from which lines double back, and from which curvature says what is a cusp: rounding turns tangents."""
STRAIGHT = 1e-9
"""Difference of curvature in 1/mm below which a reversal runs back on itself."""


@dataclass(slots=True, eq=False)
class Beside:
    """The tool centre along the elements of a contour, shape (k,) or (2, k).

    ``start``, ``end`` and ``turn`` are those of the tool centre. ``cut_start``, ``cut_end``: how much of the element
    set aside by the radius is lost at its ends, in mm (of an arc in rad), below zero where it is made longer.
    ``length``: its whole length, in the same unit; ``rho`` is the millimetres per unit (2, k) at start and end.
    ``rolled`` are the elements before which the tool rolls around a vertex, by ``roll`` (k,) rad. ``lost`` are those
    before which an inside corner has no place.
    """

    start: Array
    end: Array
    turn: Array
    cut_start: Array
    cut_end: Array
    length: Array
    rho: Array
    rolled: Flags
    roll: Array
    lost: Flags


def beside(c: Contour) -> Beside:
    """Return the tool centre beside the elements of ``c``; neighbours of one chain are joined.

    Outside corners are rolled around: the tool stays on the vertex. Inside corners end where the two paths of the
    tool centre meet. Corners whose point stands off less than ``FINE``, or shift less, are left pointed.
    """
    out = _aside(c)
    first = np.flatnonzero(c.chain[1:] == c.chain[:-1])
    second = first + 1
    t1, t2 = c.arrive[:, first], c.leave[:, second]
    angle = np.arctan2(cross(t1, t2), dot(t1, t2))
    reversal = np.abs(angle) >= HALF_TURN
    bend = np.where(c.round, np.sign(c.turn), 0.0) / np.where(c.round, np.hypot(*(c.start - c.centre)), 1.0)
    side = c.side[second]
    hollow = -side * (bend[first] + bend[second])
    curved = (np.abs(angle) >= NEARLY) & (np.abs(hollow) > STRAIGHT)
    inside = np.where(curved, hollow > 0.0, (angle * side > 0.0) & ~reversal)
    pointed = ~reversal & _pointed(c, out, first, angle, inside)
    _point(c, out, first[pointed], angle[pointed])
    rolled = second[~inside & ~pointed]
    out.rolled[rolled] = True
    angle = np.where(angle * side > 0.0, angle - 2.0 * pi * side, angle)
    out.roll[rolled] = angle[~inside & ~pointed]
    _cut(c, out, first[inside & ~pointed])
    out.turn -= np.where(c.round, np.sign(c.turn) * (out.cut_start + out.cut_end), 0.0)
    return out


def room(out: Beside, c: Contour) -> Array:
    """Return the millimetres (k,) that are left of each element after both its corners."""
    left: Array = (out.length - out.cut_start - out.cut_end) * np.where(c.round, out.rho.min(axis=0), 1.0)
    return left


def collapse(out: Beside, gone: Flags, c: Contour) -> None:
    """Make the elements ``gone`` (k,), of no length but for rounding, points: neighbours meet in their middle."""
    edges = np.flatnonzero(np.diff(gone, prepend=False, append=False))
    for begin, end in edges.reshape(-1, 2).tolist():
        middle = (out.start[:, begin:end].sum(axis=1) + out.end[:, begin:end].sum(axis=1)) / (2 * (end - begin))
        out.start[:, begin:end] = out.end[:, begin:end] = middle[:, None]
        if begin and c.chain[begin - 1] == c.chain[begin] and not out.rolled[begin]:
            out.end[:, begin - 1] = middle
        if end < c.count and c.chain[end] == c.chain[end - 1] and not out.rolled[end]:
            out.start[:, end] = middle


def _aside(c: Contour) -> Beside:
    """Return the elements set aside by the radius, not joined yet; arcs that the cutter just fits are points."""
    spokes = np.stack((c.start - c.centre, c.end - c.centre))
    size = np.hypot(spokes[:, 0], spokes[:, 1])
    rho = np.maximum(size - np.sign(c.turn) * c.side * c.radius, 0.0)
    on_circle = c.centre[None] + spokes * (rho / np.where(size > 0.0, size, 1.0))[:, None]
    start = np.where(c.round, on_circle[0], c.start + normal(c.leave, c.side) * c.radius)
    end = np.where(c.round, on_circle[1], c.end + normal(c.arrive, c.side) * c.radius)
    length = np.where(c.round, np.abs(c.turn), np.hypot(*(c.end - c.start)))
    zero, none = np.zeros(c.count), np.zeros(c.count, dtype=np.bool_)
    return Beside(
        start,
        end,
        c.turn.copy(),
        zero,
        zero.copy(),
        length,
        np.where(c.round, rho, 1.0),
        none,
        zero.copy(),
        none.copy(),
    )


def _pointed(c: Contour, out: Beside, first: Ints, angle: Array, inside: Flags) -> Flags:
    """Return which corners keep a point: it stands off the rolled corner, and off a curve, by next to nothing."""
    half = np.minimum(np.abs(angle) / 2.0, 0.5)
    radius = c.radius[first + 1]
    shift = radius * np.tan(half)
    stands = radius * (1.0 / np.cos(half) - 1.0)
    room = np.minimum((out.length * out.rho.min(axis=0))[first], (out.length * out.rho.min(axis=0))[first + 1])
    bent = np.where(c.round, np.maximum(out.rho.min(axis=0), SLACK), np.inf)
    sag = np.square(shift) / (2.0 * np.minimum(bent[first], bent[first + 1]))
    fits = ~inside | (shift < 0.5 * room)
    small: Flags = (half < 0.5) & ((shift <= SLACK) | ((stands <= FINE) & (sag <= FINE) & fits))
    return small


def _point(c: Contour, out: Beside, first: Ints, angle: Array) -> None:
    """Join the elements ``first`` (m,) with those behind them where their tangents' bisector says."""
    second = first + 1
    way = normal(c.arrive[:, first], c.side[first]) + normal(c.leave[:, second], c.side[second])
    half = angle / 2.0
    at = c.end[:, first] + way * (c.radius[second] / (2.0 * np.square(np.cos(half))))
    shift = c.radius[second] * np.tan(half) * c.side[second]
    for element, cut in ((first, out.cut_end), (second, out.cut_start)):
        cut[element] = np.where(c.round[element], 0.0, shift)
    for element, ends, cut, sense in ((first, out.end, out.cut_end, -1.0), (second, out.start, out.cut_start, 1.0)):
        bent = c.round[element]
        some = element[bent]
        before, after = ends[:, some] - c.centre[:, some], at[:, bent] - c.centre[:, some]
        moved = np.arctan2(cross(before, after), dot(before, after))
        moved[out.rho[:, some].min(axis=0) <= FINE] = 0.0
        cut[some] = sense * np.sign(c.turn[some]) * moved
        ends[:, element] = at


def _cut(c: Contour, out: Beside, first: Ints) -> None:
    """Join the elements ``first`` (m,) with those behind them where the two paths of the tool centre meet."""
    second = first + 1

    def curve(element: Ints, point: Array, tangent: Array, end: int) -> Curve:
        return Curve(
            point[:, element],
            tangent[:, element],
            c.round[element],
            c.centre[:, element],
            out.rho[end, element],
            np.sign(c.turn[element]),
            out.length[element],
        )

    found, back, ahead = meet(curve(first, out.end, c.arrive, 1), curve(second, out.start, c.leave, 0), SLACK)
    lost = np.isnan(found[0])
    out.lost[second[lost]] = True
    first, second = first[~lost], second[~lost]
    out.end[:, first] = out.start[:, second] = found[:, ~lost]
    out.cut_end[first], out.cut_start[second] = back[~lost], ahead[~lost]
