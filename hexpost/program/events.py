"""The bytes of a window that are no digits, and whether each pair of neighbours is part of a plain line."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Codes, Ints
from hexpost.program.roles import (
    BLANK,
    DIGIT,
    END,
    LABEL,
    LETTER,
    MINUS,
    OPEN,
    PLUS,
    POINT,
    SKIP,
    pair,
    roles,
    skip_level,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Events:
    """All bytes but digits, in order, shape (n,): offset, role and code of the pair with the one before."""

    at: Ints
    role: Codes
    pair: Codes


def find_events(role: Codes) -> Events:
    """Return the events of a window from the roles of its bytes (the last is a line end)."""
    at = np.flatnonzero(role != DIGIT)
    ev = role.take(at)
    low = ev & 7
    code = np.empty_like(low)
    code[0] = END << 4 | (at[0] > 0) << 3
    np.greater(at[1:] - at[:-1], 1, out=code[1:].view(np.bool_))
    code[1:] <<= 3
    code |= low
    low <<= 4
    code[1:] |= low[:-1]
    return Events(at=at, role=ev, pair=code)


def unusual_events(events: Events) -> Ints:
    """Return the events (indices) that the pair table does not take for part of a plain line."""
    return np.flatnonzero(np.frombuffer(events.pair.tobytes().translate(roles().odd), np.bool_))


def parted_words(events: Events, unusual: Ints) -> Ints:
    """Return the letters and labels (event indices) that have a blank just behind them."""
    code = events.pair[unusual]
    letter: Ints = unusual[(code == pair(LETTER, 0, BLANK)) | (code == pair(LABEL, 0, BLANK))] - 1
    return letter


def wrong_events(events: Events, unusual: Ints) -> Ints:
    """Return those of the events ``unusual`` that are not part of a plain line."""
    late = events.pair[unusual] == pair(BLANK, 0, LABEL)
    if not late.any():
        return unusual
    solid = np.flatnonzero(events.role != BLANK)  # a label after blanks, block skip and comments is plain
    before = np.searchsorted(solid, unusual[late]) - 1
    late[late] = (before < 0) | (events.role[solid[before]] == END)
    wrong: Ints = unusual[~late]
    return wrong


def blank_comments(text: bytes, role: Codes) -> Ints:
    """Give the bytes of comments the role of blanks; return their start and end offsets, shape (2, n)."""
    comment, done = roles().comment, 0
    spans: list[tuple[int, int]] = []
    for i in np.flatnonzero(role == OPEN).tolist():
        if i >= done and (m := comment(text, i)):
            done = m.end()
            role[i:done] = BLANK
            spans.append((i, done))
    table: Ints = np.array(spans, np.int64).reshape(-1, 2).T
    return table


def blank_skips(text: bytes, raw: Codes, role: Codes) -> Ints:
    """Give block skips that begin a line the role of blanks; return their offsets and levels, shape (2, n).

    ``raw`` are the roles before comments were blanked: nothing but blanks may stand ahead of a block skip.
    """
    at = np.flatnonzero(role == SKIP)
    if not at.size:
        return np.empty((2, 0), np.int64)
    solid = np.flatnonzero(raw != BLANK)
    before = np.searchsorted(solid, at) - 1
    at = at[(before < 0) | (raw[solid[before]] == END)]
    levels = []
    for i in at.tolist():
        m = roles().skip(text, i)
        assert m is not None
        role[i : m.end()] = BLANK
        levels.append(skip_level(m[0].decode()))
    return np.array((at, levels), np.int64)


def close_words(raw: Codes, role: Codes, letters: Ints) -> Ints:
    """Move the letters at offsets ``letters`` over the blanks behind them, up to their numbers, in ``role``.

    Where no number follows the letter stays, and its line is not plain. ``raw`` are the roles before comments were
    blanked, for a comment may not stand inside a word. Returns new and old offsets of the moved, shape (2, n).
    """
    solid = np.flatnonzero(raw != BLANK)
    number = solid[np.searchsorted(solid, letters) + 1]  # there is one: the window ends with a line end
    ahead = raw[number]
    good = (ahead == DIGIT) | (ahead == POINT) | (ahead == MINUS) | (ahead == PLUS)
    old, new = letters[good], number[good] - 1
    role[new] = role[old]
    role[old] = BLANK
    return np.stack((new, old))


def line_of(line_start: Ints, offset: Ints) -> Ints:
    """Return the lines (from 0) that hold the bytes at ``offset``."""
    return np.searchsorted(line_start, offset, "right") - 1
