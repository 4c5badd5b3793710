"""Stretches of the path with constant bounds on speed and path acceleration; their cause is kept beside them."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.feed.minima import erode, speeds
from hexpost.feed.model import CORNER

TAG = 2 * CORNER - 1
"""The last seven bits of a cap hold its cause (a change of 3e-14), so that a minimum of caps knows whose it is."""

COLUMNS = ("piece", "size", "cap", "up", "down", "hold", "jerk", "jerk_hold")
"""What each stretch has of its own."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
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

    def take(self, keep: Flags) -> "Stretches":
        """Return some of the stretches; spans that keep none go, the others are numbered anew."""
        count = np.add.reduceat(keep.astype(np.int64), self.first[:-1])
        count = count[count > 0]
        first = np.concatenate([[0], np.cumsum(count)])
        s = np.concatenate([[0.0], np.cumsum(self.size[keep])])
        columns = {name: getattr(self, name)[keep] for name in COLUMNS}
        return Stretches(**columns, s=s, span=np.repeat(np.arange(len(count)), count), first=first)

    def part(self, low: int, high: int) -> "Stretches":
        """Return stretches ``low`` to ``high`` (left out) of one span as a span of their own; columns are views."""
        columns = {name: getattr(self, name)[low:high] for name in COLUMNS}
        return _one_span(columns, self.s[low : high + 1])

    def followed(self, other: "Stretches") -> "Stretches":
        """Return the stretches of one span with those that follow, as one span."""
        columns = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in COLUMNS}
        return _one_span(columns, np.concatenate([self.s[:-1], other.s]))

    def divided(self, parts: Ints) -> "Stretches":
        """Return them with each cut into ``parts`` (n,) equal ones."""
        if (parts == 1).all():
            return self
        edge = np.concatenate([[0], np.cumsum(parts)])
        within = np.arange(edge[-1]) - np.repeat(edge[:-1], parts)
        names = ("piece", "cap", "up", "down", "hold", "jerk", "jerk_hold", "span")
        size = np.repeat(self.size / parts, parts)
        s = np.append(np.repeat(self.s[:-1], parts) + within * size, self.s[-1])
        columns = {name: np.repeat(getattr(self, name), parts) for name in names}
        return Stretches(**columns, size=size, s=s, first=edge[self.first])

    def merged(self, which: Flags) -> "Stretches":
        """Return the spans ``which`` (spans,) alone, all of each made one stretch under the least of its bounds.

        Spans keep their numbers; the others have no stretch.
        """
        at = self.first[:-1][which]
        keep = which[self.span]
        own = np.concatenate([[0], np.cumsum(np.diff(self.first)[which])])[:-1]
        names = ("cap", "up", "down", "jerk")
        least = {n: np.minimum.reduceat(getattr(self, n)[keep], own) for n in names}
        columns = {name: getattr(self, name)[at] for name in ("piece", "hold", "jerk_hold", "span")}
        size = np.add.reduceat(self.size[keep], own)
        s, first = np.append(self.s[:-1][at], self.s[-1]), np.concatenate([[0], np.cumsum(which)])
        return Stretches(**columns, **least, size=size, s=s, first=first)

    def grafted(self, other: "Stretches", which: Flags) -> "Stretches":
        """Return them with the spans ``which`` (spans,) taken from ``other`` instead."""
        mine, theirs = ~which[self.span], which[other.span]
        span = np.concatenate([self.span[mine], other.span[theirs]])
        order = np.argsort(span, kind="stable")
        columns = {n: np.concatenate([getattr(self, n)[mine], getattr(other, n)[theirs]])[order] for n in COLUMNS}
        s = np.append(np.concatenate([self.s[:-1][mine], other.s[:-1][theirs]])[order], self.s[-1])
        first = np.searchsorted(span[order], np.arange(len(self.first)))
        return Stretches(**columns, s=s, span=span[order], first=first)

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


def _one_span(columns: dict[str, Any], s: Array) -> Stretches:
    """Return columns as the stretches of one span."""
    n = len(s) - 1
    return Stretches(**columns, s=s, span=np.zeros(n, dtype=np.int64), first=np.array([0, n]))


def tagged(cap: Array, cause: Codes) -> Array:
    """Return caps with their causes in the last bits."""
    bits = (cap.view(np.int64) & ~np.int64(TAG)) | cause
    return bits.view(np.float64)


def causes(cap: Array) -> Codes:
    """Return the causes of tagged caps."""
    return (cap.view(np.int64) & TAG).astype(np.uint8)
