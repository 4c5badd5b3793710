"""Lines that keep one feed together: those of an operation, from rapid to rapid, with the same programmed F."""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from hexpost.arrays import Ints, among
from hexpost.moves.model import FEED_RAPID, Interpretation
from hexpost.refeed.feeds import LineFeeds

Groups = Mapping[int, frozenset[int]]
"""By line, all lines that have its feed, itself among them; a line that is not there stands alone."""

ALONE: Groups = MappingProxyType({})
"""No line has its feed together with another."""


def groups(meaning: Interpretation, feeds: LineFeeds) -> Groups:
    """Return the lines of ``feeds`` that may be lowered, by operation and F; one that runs in several joins them."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    moves = meaning.moves
    rapid = moves.feed_mode == FEED_RAPID
    operation = np.cumsum(np.append(False, ~rapid[:-1]) & rapid)
    free = np.flatnonzero(feeds.free)
    if not len(free):
        return {}
    at = np.flatnonzero(~rapid & among(moves.line, feeds.line[free]))
    line: Ints = np.searchsorted(feeds.line, moves.line[at])
    _, word = np.unique(feeds.feed[line], return_inverse=True)
    node = operation[at] * (int(word.max()) + 1) + word
    _, node = np.unique(node, return_inverse=True)
    n = len(feeds.line)
    size = n + int(node.max()) + 1
    _, label = connected_components(coo_array((np.ones(len(at)), (line, n + node)), shape=(size, size)), directed=False)
    own = label[free]
    order = np.argsort(own, kind="stable")
    out: dict[int, frozenset[int]] = {}
    for part in np.split(feeds.line[free][order], np.flatnonzero(np.diff(own[order])) + 1):
        lines = frozenset(part.tolist())
        out |= dict.fromkeys(lines, lines)
    return out


def together(lines: set[int], of: Groups) -> set[int]:
    """Return ``lines`` with all that have the feed of one of them."""
    found = {id(of[x]): of[x] for x in lines if x in of}
    return lines.union(*found.values())


def constant(feeds: dict[int, float], of: Groups) -> dict[int, float]:
    """Return feeds by line, the least of each group for all of its lines."""
    least: dict[int, tuple[float, frozenset[int]]] = {}
    for line, feed in feeds.items():
        if line in of:
            group = of[line]
            least[id(group)] = min(feed, least.get(id(group), (feed, group))[0]), group
    out = dict(feeds)
    for feed, group in least.values():
        out |= dict.fromkeys(group, feed)
    return out
