"""What two revisions of a program mean differently: moves, feeds, offsets, tools, stops, events; never their text."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints, Lines
from hexpost.explain.align import Pairs, Unpaired, align, unpaired
from hexpost.explain.blocks import POSE, event, motion
from hexpost.explain.text import at_feed, happening, in_motion
from hexpost.moves.model import ARC, Events, Frame, Interpretation, Moves
from hexpost.voice import number

FEED_SHARE = 5e-4
"""Largest share by which two feeds differ that are the same, written in inches once and in millimetres once."""
TURN = 0.05
"""Radians by which the turns of two arcs differ that are the same: their ends are compared, this is for the sense."""
FRAME_MM = 1e-6
"""Entries of two frames that differ by more are different frames."""


@dataclass(frozen=True, slots=True)
class Change:
    """One difference: ``what`` it is about, and how: ``changed``, ``added`` or ``removed``.

    ``old`` and ``new`` are the first and last lines on either side (``None``: nothing there), ``count`` how many moves
    or events are meant, ``before`` and ``after`` what the first of them is like; ``times``: so often in all, where the
    lines run several times.
    """

    what: str
    how: str
    old: tuple[int, int] | None
    new: tuple[int, int] | None
    count: int
    before: str
    after: str
    times: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class Difference:
    """All changes in the order of the programs; moves and events on the old side, on the new side, and alike."""

    changes: tuple[Change, ...]
    moves: tuple[int, int, int]
    events: tuple[int, int, int]

    @property
    def same(self) -> bool:
        """Return whether both programs mean the same."""
        return not self.changes


def difference(old: Interpretation, new: Interpretation, tolerance: float) -> Difference:
    """Return what ``new`` means differently from ``old``; places within ``tolerance`` (mm and degrees) are the same.

    Moves are compared by where they lead, in the coordinates of their work frame. Feed, offset, tool, length and rest
    are then compared for those that belong together, events with their place among the moves.
    """
    a, b = old.moves, new.moves
    limits = tolerance * np.array([0, 1, 1, 1, 1, 1, 1, 2, 2, 2, 0, 0])
    limits[-1] = TURN
    alike = align(geometry(a), geometry(b), limits)
    rest = unpaired(alike, likeness(a), likeness(b))
    found = list(moves_changed(a, b, rest))
    both = in_order(np.concatenate((alike, rest.swapped), axis=1))
    found += attributes_changed(a, b, both)
    here, there = happenings(old.events, new.events, both)
    same = align(here, there, np.array([0.0, 1e-9, 1e-9, 0.0, 0.0]))
    found += events_changed(old.events, new.events, unpaired(same, here[:3], there[:3]))
    found = once(found)
    found.sort(key=lambda c: (c.old or c.new, c.new or c.old))
    events = (here.shape[1], there.shape[1], same.shape[1])
    return Difference(tuple(found), (a.count, b.count, alike.shape[1]), events)


def geometry(moves: Moves) -> Array:
    """Return what makes a move the same (12, n): kind, end in mm and degrees, centre, axis and turn of an arc."""
    out = np.zeros((12, moves.count))
    out[0] = moves.kind
    out[1:7] = moves.end * POSE[:, None]
    out[7:10, moves.arcs.move] = moves.arcs.centre
    out[10, moves.arcs.move] = moves.arcs.axis
    out[11, moves.arcs.move] = moves.arcs.turn
    return out


def likeness(moves: Moves) -> Array:
    """Return what makes a move like another (8, n): where it leads, its kind, how fast."""
    return np.concatenate((moves.end, moves.kind[None], moves.feed_mode[None]))


def once(changes: list[Change]) -> list[Change]:
    """Return changes that say the same of the same lines (a subprogram called again) as one."""
    times = Counter(replace(c, count=0) for c in changes)
    counts: Counter[Change] = Counter()
    for c in changes:
        counts[replace(c, count=0)] += c.count
    return [replace(c, count=counts[c], times=n) for c, n in times.items()]


def in_order(pairs: Pairs) -> Pairs:
    """Return pairs in rising order."""
    return pairs[:, np.argsort(pairs[0], kind="stable")]


def stretches(parted: Flags) -> list[tuple[int, int]]:
    """Return first and last index of the stretches that begin where ``parted`` (n,) is true."""
    first = np.flatnonzero(parted)
    return list(zip(first.tolist(), np.append(first[1:], len(parted))[: len(first)].tolist(), strict=True))


def gaps(index: Ints) -> Flags:
    """Return where rising indices (k,) do not follow one another; the first counts."""
    out: Flags = np.diff(index, prepend=index[:1] - 2) != 1
    return out


def moves_changed(a: Moves, b: Moves, rest: Unpaired) -> Iterator[Change]:
    """Yield the moves that lead elsewhere, are gone, or are new, neighbours together."""
    swapped, lost, come = rest.swapped, rest.lost, rest.come

    def said(moves: Moves, i: int) -> str:
        return in_motion(document(moves, i))

    for k, end in stretches(gaps(swapped[0]) | gaps(swapped[1])):
        i, j = swapped[:, k:end]
        yield Change("move", "changed", span(a.line, i), span(b.line, j), end - k, said(a, i[0]), said(b, j[0]))
    for k, end in stretches(gaps(lost)):
        yield Change("move", "removed", span(a.line, lost[k:end]), None, end - k, said(a, lost[k]), "")
    for k, end in stretches(gaps(come)):
        yield Change("move", "added", None, span(b.line, come[k:end]), end - k, "", said(b, come[k]))


def document(moves: Moves, i: int) -> dict[str, object]:
    """Return a move as ``explain`` shows it."""
    arc = None
    if moves.kind[i] == ARC:
        k = int(np.searchsorted(moves.arcs.move, i))
        arc = (moves.arcs.centre[:, k], int(moves.arcs.axis[k]), float(moves.arcs.turn[k]))
    frame = moves.frames[moves.frame[i]].offset
    return motion(moves.end[:, i], float(moves.feed[i]), int(moves.feed_mode[i]), frame, arc)


def span(lines: Lines, index: Ints) -> tuple[int, int]:
    """Return the smallest and the largest line of the rows ``index``."""
    own = lines[index]
    return int(own.min()), int(own.max())


def attributes_changed(a: Moves, b: Moves, both: Pairs) -> Iterator[Change]:
    """Yield what is different about moves that belong together, neighbours with the same change together."""
    i, j = both
    feed = (np.minimum(a.feed[i], 1e300), np.minimum(b.feed[j], 1e300))
    other = (a.feed_mode[i] != b.feed_mode[j]) | (np.abs(feed[0] - feed[1]) > FEED_SHARE * np.maximum(*feed))
    keys = np.stack((a.feed_mode[i], feed[0], b.feed_mode[j], feed[1]))
    for k, end in runs(other, keys, both):
        texts = (at_feed(document(a, int(i[k]))), at_feed(document(b, int(j[k]))))
        yield Change("feed", "changed", span(a.line, i[k:end]), span(b.line, j[k:end]), end - k, *texts)
    kinds, kind = np.unique(a.frame[i].astype(np.int64) * len(b.frames) + b.frame[j], return_inverse=True)
    frames = [(a.frames[k // len(b.frames)], b.frames[k % len(b.frames)]) for k in kinds.tolist()]
    for what in ("offset", "tool", "length"):
        known = [frame_texts(what, *two) for two in frames]
        different = np.array([texts is not None for texts in known], dtype=np.bool_)[kind]
        for k, end in runs(different, kind[None].astype(np.float64), both):
            texts = known[kind[k]] or ("", "")
            yield Change(what, "changed", span(a.line, i[k:end]), span(b.line, j[k:end]), end - k, *texts)
    rest = (a.stop[i], b.stop[j])
    followed = np.append((np.diff(both, axis=1) == 1).all(axis=0), True)  # else it follows from what was put between
    for k, end in runs((rest[0] != rest[1]) & followed[: len(i)], np.stack(rest), both):
        was, now = ("comes to rest" if r[k] else "goes on" for r in rest)
        yield Change("rest", "changed", span(a.line, i[k:end]), span(b.line, j[k:end]), end - k, was, now)


def runs(different: Flags, keys: Array, both: Pairs) -> Iterator[tuple[int, int]]:
    """Yield first and last place among the pairs of stretches that are ``different`` in the same way."""
    at = np.flatnonzero(different)
    parted = gaps(at) | gaps(both[0, at]) | gaps(both[1, at])
    parted[1:] |= (keys[:, at[1:]] != keys[:, at[:-1]]).any(axis=0)
    for k, end in stretches(parted):
        yield int(at[k]), int(at[end - 1]) + 1


def frame_texts(what: str, a: Frame, b: Frame) -> tuple[str, str] | None:
    """Return how two frames differ in one respect, ``None`` where they do not."""
    if what == "tool":
        return None if a.tool == b.tool else (f"tool {a.tool}", f"tool {b.tool}")
    if what == "length":
        same = a.length_row == b.length_row and abs(a.length - b.length) <= FRAME_MM
        texts = [f"row {f.length_row}, {number(f.length)} mm" if f.length_row else "no tool length" for f in (a, b)]
        return None if same else (texts[0], texts[1])
    if a.offset != b.offset:
        return a.offset, b.offset
    moved = np.abs(a.base_from_work - b.base_from_work).max() > FRAME_MM
    return (a.offset, f"{b.offset} elsewhere") if moved else None


def happenings(a: Events, b: Events, both: Pairs) -> tuple[Array, Array]:
    """Return what makes an event the same (5, e): letter, value, pause, rule, moves that belong together before it."""

    def rows(events: Events, side: Ints) -> Array:
        columns = (*events.kinds, events.pause, events.rule, np.searchsorted(side, events.move, side="right"))
        return np.array(columns, dtype=np.float64)

    return rows(a, both[0]), rows(b, both[1])


def events_changed(a: Events, b: Events, rest: Unpaired) -> Iterator[Change]:
    """Yield the events that are different, gone or new."""

    def said(events: Events, i: int) -> str:
        return happening(event(events, i))

    for i, j in rest.swapped.T.tolist():
        texts = (said(a, i), said(b, j))
        what = "place" if texts[0] == texts[1] else "event"
        yield Change(what, "changed", span(a.line, np.array([i])), span(b.line, np.array([j])), 1, *texts)
    for i in rest.lost.tolist():
        yield Change("event", "removed", span(a.line, np.array([i])), None, 1, said(a, i), "")
    for j in rest.come.tolist():
        yield Change("event", "added", None, span(b.line, np.array([j])), 1, "", said(b, j))
