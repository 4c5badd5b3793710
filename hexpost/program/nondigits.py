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
class NonDigits:
    """All bytes but digits, in order, shape (n,): offset, role and code of the pair with the one before."""

    at: Ints
    role: Codes
    pair: Codes


def find_events(role: Codes) -> NonDigits:
    """Return the events of a window from the roles of its bytes (the last is a line end)."""
    at = np.flatnonzero(role != DIGIT)
    marked = role.copy()
    marked[1:] |= (role[:-1] == DIGIT).view(np.uint8) << 3
    ev = marked.take(at)
    code = ev & np.uint8(15)
    code[0] |= END << 4
    code[1:] |= ev[:-1] << 4
    code[1:] &= 127
    ev &= ~np.uint8(8)
    return NonDigits(at=at, role=ev, pair=code)


def unusual_events(events: NonDigits) -> Ints:
    """Return the events (indices) that the pair table does not take for part of a plain line."""
    return np.flatnonzero(np.frombuffer(events.pair.tobytes().translate(roles().odd), np.bool_))


def parted_words(events: NonDigits, unusual: Ints) -> Ints:
    """Return the letters and labels (event indices) that have a blank just behind them."""
    code = events.pair[unusual]
    letter: Ints = unusual[(code == pair(LETTER, 0, BLANK)) | (code == pair(LABEL, 0, BLANK))] - 1
    return letter


def wrong_events(events: NonDigits, unusual: Ints) -> Ints:
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


def blank_skips(text: bytes, raw: bytes, role: Codes) -> Ints:
    """Give block skips that begin a line the role of blanks; return their offsets and levels, shape (2, n).

    ``raw`` are the roles before comments were blanked: nothing but blanks may stand ahead of a block skip.
    """
    end, blank = bytes([END]), bytes([BLANK])
    rows: list[tuple[int, int]] = []
    done = 0
    for i in np.flatnonzero(role == SKIP).tolist():
        if i < done:
            continue
        done = raw.find(end, i)
        if not raw[raw.rfind(end, 0, i) + 1 : i].strip(blank) and (m := roles().skip(text, i)):
            role[i : m.end()] = BLANK
            rows.append((i, skip_level(m[0].decode())))
    table: Ints = np.array(rows, np.int64).reshape(-1, 2).T
    return table


def close_words(raw: bytes, role: Codes, letters: Ints) -> Ints:
    """Move the letters at offsets ``letters`` over the blanks behind them, up to their numbers, in ``role``.

    Where no number follows the letter stays, and its line is not plain. ``raw`` are the roles before comments were
    blanked, for a comment may not stand inside a word. Returns new and old offsets of the moved, shape (2, n).
    """
    before = np.frombuffer(raw, np.uint8)
    solid = np.flatnonzero(before != BLANK)
    number = solid[np.searchsorted(solid, letters) + 1]  # there is one: the window ends with a line end
    ahead = before[number]
    good = (ahead == DIGIT) | (ahead == POINT) | (ahead == MINUS) | (ahead == PLUS)
    old, new = letters[good], number[good] - 1
    role[new] = role[old]
    role[old] = BLANK
    return np.stack((new, old))


def line_of(line_start: Ints, offset: Ints) -> Ints:
    """Return the lines (from 0) that hold the bytes at ``offset``."""
    return np.searchsorted(line_start, offset, "right") - 1
