"""Stretches of the path with constant bounds on speed and path acceleration; their cause is kept beside them."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints
from hexpost.feed.minima import erode, speeds
from hexpost.feed.model import AT_CORNER

TAG = 2 * AT_CORNER - 1
"""The last seven bits of a cap hold its cause (a change of 3e-14), so that a minimum of caps knows whose it is."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches(Columns):
    """Columns, shape (n,): ``piece``, ``size`` D, ``cap`` of speed squared (tagged with its cause).

    ``up`` and ``down``: largest path acceleration and deceleration, and ``hold`` its cause; ``jerk``: largest path
    jerk and ``jerk_hold`` its cause. ``s`` (n + 1,) edges; ``span`` number, ``first`` (spans + 1,) first stretch of
    each span.
    """

    piece: Ints
    size: Array
    cap: Array
    up: Array
    down: Array
    hold: Codes
    jerk: Array
    jerk_hold: Codes
    s: Array
    span: Ints
    first: Ints

    def only(self, keep: Flags) -> "Stretches":
        """Return some of the stretches; spans that keep none go, the others are numbered anew."""
        count = np.add.reduceat(keep.astype(np.int64), self.first[:-1])
        count = count[count > 0]
        first = np.concatenate([[0], np.cumsum(count)])
        s = np.concatenate([[0.0], np.cumsum(self.size[keep])])
        return self.take(keep, s=s, span=np.repeat(np.arange(len(count)), count), first=first)

    def part(self, low: int, high: int) -> "Stretches":
        """Return stretches ``low`` to ``high`` (left out) of one span as a span of their own; columns are views."""
        return self.take(slice(low, high), **_one_span(self.s[low : high + 1]))

    def followed(self, other: "Stretches") -> "Stretches":
        """Return the stretches of one span with those that follow, as one span."""
        return Stretches.joined([self, other], **_one_span(np.concatenate([self.s[:-1], other.s])))

    def divided(self, parts: Ints) -> "Stretches":
        """Return them with each cut into ``parts`` (n,) equal ones."""
        if (parts == 1).all():
            return self
        edge = np.concatenate([[0], np.cumsum(parts)])
        within = np.arange(edge[-1]) - np.repeat(edge[:-1], parts)
        at = np.repeat(np.arange(len(parts)), parts)
        size = (self.size / parts)[at]
        s = np.append(self.s[:-1][at] + within * size, self.s[-1])
        return self.take(at, size=size, s=s, first=edge[self.first])

    def merged(self, which: Flags) -> "Stretches":
        """Return the spans ``which`` (spans,) alone, all of each made one stretch under the least of its bounds.

        Spans keep their numbers; the others have no stretch.
        """
        at = self.first[:-1][which]
        keep = which[self.span]
        own = np.concatenate([[0], np.cumsum(np.diff(self.first)[which])])[:-1]
        least = {n: np.minimum.reduceat(getattr(self, n)[keep], own) for n in ("cap", "up", "down", "jerk")}
        size = np.add.reduceat(self.size[keep], own)
        s, first = np.append(self.s[:-1][at], self.s[-1]), np.concatenate([[0], np.cumsum(which)])
        return self.take(at, **least, size=size, s=s, first=first)

    def grafted(self, other: "Stretches", which: Flags) -> "Stretches":
        """Return them with the spans ``which`` (spans,) taken from ``other`` instead."""
        mine, theirs = ~which[self.span], which[other.span]
        both = Stretches.joined(
            [x.take(rows, s=x.s[:-1][rows], first=x.first) for x, rows in ((self, mine), (other, theirs))]
        )
        order = np.argsort(both.span, kind="stable")
        s = np.append(both.s[order], self.s[-1])
        return both.take(order, s=s, first=np.searchsorted(both.span[order], np.arange(len(self.first))))

    def ramped(self, window: Array) -> "Stretches":
        """Return them with accelerations that, averaged over the window of the span [s], keep the jerk."""
        most = self.jerk * window[self.span]
        up = np.minimum(self.up, most)
        down = np.minimum(self.down, most)
        hold = np.where(most < self.up, self.jerk_hold, self.hold).astype(np.uint8)
        return replace(self, up=up, down=down, hold=hold)

    def solved(self, window: Array) -> "Speeds":
        """Return the largest speeds under caps that hold over the whole window of the span [s]."""
        cap = erode(self.size, self.span, self.first, self.cap, window)
        return Speeds(st=self, cap=cap, x=speeds(self.size, self.first, cap, self.up, self.down))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Speeds:
    """Stretches with caps (n,) that hold over the window and the speed squared ``x`` (n + 1,) at their edges."""

    st: Stretches
    cap: Array
    x: Array


def _one_span(s: Array) -> dict[str, Array | Ints]:
    """Return the columns that make stretches with edges ``s`` one span."""
    n = len(s) - 1
    return {"s": s, "span": np.zeros(n, dtype=np.int64), "first": np.array([0, n])}


def tagged(cap: Array, cause: Codes) -> Array:
    """Return caps with their causes in the last bits."""
    bits = (cap.view(np.int64) & ~np.int64(TAG)) | cause
    return bits.view(np.float64)


def causes(cap: Array) -> Codes:
    """Return the causes of tagged caps."""
    return (cap.view(np.int64) & TAG).astype(np.uint8)
