"""Where the path of the tool centre crosses itself and the contour does not: a place too narrow for the cutter."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among
from hexpost.moves.compensation.boxes import overlapping
from hexpost.moves.compensation.contour import Contour, cross
from hexpost.moves.compensation.corners import SLACK, Beside

CHORD = 0.1
"""Radians of an arc that one chord stands for when crossings are looked for."""
THROUGH = 1e-6
"""Millimetres by which both ends of a chord must lie off the other one: what touches does not cross."""
MOST_TOLD = 1000


@dataclass(frozen=True, slots=True, eq=False)
class Chords:
    """Pieces of elements (p,) as straight lines: the element of each, and both ends (2, 2, p): end, coordinate."""

    element: Ints
    ends: Array

    def of(self, elements: Ints) -> Array:
        """Return the chords (2, 2, q) of some elements (rising)."""
        first, last = np.searchsorted(self.element, [elements[0], elements[-1] + 1])
        here = self.ends[:, :, first:last]
        return here[:, :, among(self.element[first:last], elements)]


def crossings(c: Contour, path: Beside, depth: Array, cutting: Flags) -> Ints:
    """Return pairs of elements (m, 2) whose tool paths cross although the contour does not cross or touch itself there.

    Looked at are ``cutting`` (k,) elements of one chain that overlap in ``depth`` (2, k); arcs count as chords.
    """
    tool = _with_corners(_chords(c, path.start, path.end, path.turn), path)
    inner = np.flatnonzero(cutting[tool.element])
    ends, element = tool.ends[:, :, inner], tool.element[inner]
    low, high = (
        np.concatenate((pick(ends, axis=0), pick(depth, axis=0)[None, element], c.chain[None, element]))
        for pick in (np.min, np.max)
    )
    first, second = overlapping(low, high)
    apart = element[second] - element[first] > 1
    first, second = first[apart], second[apart]
    hit = _through(ends[:, :, first], ends[:, :, second])
    found = np.unique(np.stack((element[first[hit]], element[second[hit]]), axis=1), axis=0)[:MOST_TOLD]
    own = _chords(c, c.start, c.end, c.turn)
    wrong = [not _touching(own, one, two, c) for one, two in found.tolist()]
    out: Ints = found[np.array(wrong, dtype=np.bool_)]
    return out


def _chords(c: Contour, start: Array, end: Array, turn: Array) -> Chords:
    """Return elements from ``start`` to ``end`` (2, k) as chords; arcs run around the centres of ``c`` by ``turn``."""
    count = np.maximum(np.ceil(np.where(c.round, np.abs(turn), 0.0) / CHORD), 1.0).astype(np.int64)
    element = np.repeat(np.arange(c.count), count)
    number = np.arange(len(element)) - np.repeat(np.cumsum(count) - count, count)
    ends = np.empty((2, 2, len(element)))
    for side in (0, 1):
        share = (number + side) / count[element]
        ends[side] = start[:, element] + (end - start)[:, element] * share
        bent = np.flatnonzero(c.round[element] & (share > 0.0) & (share < 1.0))
        arc, part = element[bent], share[bent]
        spokes = [point[:, arc] - c.centre[:, arc] for point in (start, end)]
        size = np.hypot(*spokes[0]) * (1.0 - part) + np.hypot(*spokes[1]) * part
        angle = np.arctan2(spokes[0][1], spokes[0][0]) + turn[arc] * part
        ends[side][:, bent] = c.centre[:, arc] + size * np.stack((np.cos(angle), np.sin(angle)))
    return Chords(element, ends)


def _with_corners(elements: Chords, path: Beside) -> Chords:
    """Return chords with those of the rolled corners, which belong to the element behind the corner."""
    rolled = np.flatnonzero(path.rolled)
    corner = np.stack((path.end[:, rolled - 1], path.start[:, rolled]))
    order = np.argsort(np.concatenate((2 * elements.element + 1, 2 * rolled)), kind="stable")
    return Chords(
        np.concatenate((elements.element, rolled))[order],
        np.concatenate((elements.ends, corner), axis=2)[:, :, order],
    )


def _through(one: Array, two: Array) -> Flags:
    """Return which chords (2, 2, m) of ``one`` and ``two`` cross each other, both by more than ``THROUGH``."""
    out = np.ones(one.shape[2], dtype=np.bool_)
    for a, b in ((one, two), (two, one)):
        along = a[1] - a[0]
        size = np.maximum(np.hypot(*along), THROUGH)
        sides = [cross(along, point - a[0]) / size for point in b]
        out &= (np.minimum(*sides) < -THROUGH) & (np.maximum(*sides) > THROUGH)
    return out


def _touching(own: Chords, first: int, second: int, c: Contour) -> bool:
    """Return whether elements ``first`` and ``second`` of the contour, or neighbours of them, touch or cross."""
    near = [np.arange(max(i - 1, 0), min(i + 2, c.count)) for i in (first, second)]
    for i in near[0].tolist():
        others = near[1][np.abs(near[1] - i) > 1]
        if others.size and _nearest(own.of(np.array([i])), own.of(others)) <= SLACK:
            return True
    return False


def _nearest(one: Array, two: Array) -> float:
    """Return the least distance of chords (2, 2, m) and (2, 2, q): 0 where two of them cross."""
    a, b = (x.repeat(k, axis=2) if i == 0 else np.tile(x, k) for i, (x, k) in
            enumerate(((one, two.shape[2]), (two, one.shape[2]))))  # fmt: skip
    if bool(_through(a, b).any()):
        return 0.0
    least = np.inf
    for chord, points in ((a, b), (b, a)):
        along = chord[1] - chord[0]
        square = np.maximum(np.square(along).sum(axis=0), THROUGH**2)
        for point in points:
            off = point - chord[0]
            share = np.clip((off * along).sum(axis=0) / square, 0.0, 1.0)
            least = min(least, float(np.hypot(*(off - along * share)).min()))
    return least
