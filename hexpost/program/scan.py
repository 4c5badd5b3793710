"""The fast reader: the plain lines of a whole window at once, with array operations.

A plain line holds an optional block skip, an optional label, words, blanks and comments. Which bytes those are, and
which may follow which, comes from the grammar (``roles``). A line that is anything else is left to the parser: this
module never decides that a line is wrong.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines
from hexpost.program.digits import EXACT_DIGITS, WIDTH, long_numbers, preceding_bytes, short_numbers
from hexpost.program.nondigits import (
    NonDigits,
    blank_comments,
    blank_skips,
    close_words,
    find_events,
    line_of,
    parted_words,
    unusual_events,
    wrong_events,
)
from hexpost.program.roles import END, LABEL, LETTER, MINUS, PLUS, POINT, roles

LONGEST_LINE = 10_000
"""Bytes; a longer line is not plain, and the reader refuses it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScannedWords(Columns):
    """Words as columns, shape (n,); ``line`` counts from 0 in the window, ``column`` from 1."""

    letter: Codes
    value: Array
    pointed: Flags
    line: Lines
    column: Lines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scan:
    """What the plain lines of a window hold, and which lines are not plain.

    ``skips`` (2, n): line and level of block skips. ``comments`` (3, n): line, start and end offset. ``odd``: numbers
    of the other lines. ``line_start`` (lines + 1,) offsets. Lines count from 0.
    """

    words: ScannedWords
    skips: Ints
    comments: Ints
    odd: Ints
    line_start: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Numbers:
    """Where the numbers of the words are, shape (n,).

    Offsets: ``start`` of the digits, ``dot`` behind the whole part, ``tail`` behind the fraction.
    """

    minus: Flags
    pointed: Flags
    start: Ints
    dot: Ints
    tail: Ints


def scan(text: bytes) -> Scan:
    """Return what the plain lines of ``text`` hold, and which lines are not plain.

    ``text``: whole lines, each with its LF, no CR.
    """
    raw = text.translate(roles().of)
    role = np.frombuffer(bytearray(raw), np.uint8)
    comments = blank_comments(text, role)
    skips = blank_skips(text, raw, role)
    events = find_events(role)
    unusual = unusual_events(events)
    moved = np.empty((2, 0), np.int64)
    if (parted := parted_words(events, unusual)).size:
        moved = close_words(raw, role, events.at[parted])
        events = find_events(role)
        unusual = unusual_events(events)
    ends = np.flatnonzero(events.role == END)
    line_start = np.concatenate(([0], events.at.take(ends) + 1))
    odd = np.zeros(len(ends), np.bool_)
    odd[np.searchsorted(ends, wrong_events(events, unusual))] = True
    odd[np.diff(line_start) > LONGEST_LINE + 1] = True
    words = read_words(text, events, moved, line_start, odd)
    plain = ~odd
    return Scan(
        words=words if plain.all() else words.take(plain[words.line]),
        skips=mark_rows(line_of(line_start, skips[0]), skips[1:], plain),
        comments=mark_rows(line_of(line_start, comments[0]), comments, plain),
        odd=np.flatnonzero(odd),
        line_start=line_start,
    )


def read_words(text: bytes, events: NonDigits, moved: Ints, line_start: Ints, odd: Flags) -> ScannedWords:
    """Return all words; flag in ``odd`` the lines whose numbers the parser must judge."""
    word = np.flatnonzero((events.role == LETTER) | (events.role == LABEL))
    at = events.at.take(word)
    counts = np.diff(np.searchsorted(at, line_start))
    line = np.repeat(np.arange(len(counts), dtype=np.int32), counts)
    numbers = find_numbers(events, word)
    value, doubtful = read_numbers(text, numbers)
    odd[line[doubtful]] = True
    if moved.size:
        at = moved_back(at, moved)
    letter = np.frombuffer(text, np.uint8).take(at)
    at -= np.repeat(line_start[:-1] - 1, counts)
    return ScannedWords(
        letter=upper_case(letter),
        value=value,
        pointed=numbers.pointed,
        line=line,
        column=at.astype(np.int32),
    )


def upper_case(letter: Codes) -> Codes:
    """Return letters in upper case, other bytes as they are."""
    return np.where(letter >= ord("A"), letter & 0xDF, letter)


def find_numbers(events: NonDigits, word: Ints) -> Numbers:
    """Return where the numbers of the words (event indices ``word``) are."""
    at, role = events.at, events.role
    dot = word + 1
    sign = role.take(dot)
    minus = sign == MINUS
    signed = minus | (sign == PLUS)
    dot += signed
    pointed = role.take(dot) == POINT
    start = at.take(word) + 1
    start += signed
    return Numbers(minus=minus, pointed=pointed, start=start, dot=at.take(dot), tail=at.take(dot + pointed))


def read_numbers(text: bytes, numbers: Numbers) -> tuple[Array, Ints]:
    """Return the values of the numbers, correctly rounded, and those (indices) that the parser must judge."""
    window = preceding_bytes(text)
    whole = numbers.dot - numbers.start
    count = numbers.tail - numbers.start
    size = count.copy()
    count -= numbers.pointed
    fraction = count - whole
    value = short_numbers(window, numbers.tail, count, fraction, numbers.pointed)
    doubtful = np.flatnonzero(count == 0)
    long = np.flatnonzero(size > WIDTH)
    if long.size:
        w, f = whole[long], fraction[long]
        exact = (w <= WIDTH) & (f <= WIDTH) & (w + f <= EXACT_DIGITS)
        two = long[exact]
        value[two] = long_numbers(window, numbers.dot[two], numbers.tail[two], w[exact], f[exact])
        doubtful = np.concatenate((doubtful, read_one_by_one(text, numbers, long[~exact], value)))
    value.view(np.uint64)[...] |= numbers.minus.astype(np.uint64) << np.uint64(63)
    return value, doubtful


def read_one_by_one(text: bytes, numbers: Numbers, which: Ints, value: Array) -> Ints:
    """Put the values of very long numbers into ``value``; return those (indices) that the grammar refuses."""
    refused = []
    for i, start, tail in zip(which.tolist(), numbers.start[which].tolist(), numbers.tail[which].tolist(), strict=True):
        digits = text[start:tail]
        if roles().number(digits):
            value[i] = float(digits)
        else:
            refused.append(i)
    return np.array(refused, np.int64)


def moved_back(at: Ints, moved: Ints) -> Ints:
    """Return the offsets ``at`` of the letters with the ``moved`` ones (new, old; shape (2, k)) where they were."""
    new, old = moved
    i = np.minimum(np.searchsorted(new, at), new.size - 1)
    return np.where(new[i] == at, old[i], at)


def mark_rows(first: Ints, columns: Ints, plain: Flags) -> Ints:
    """Return the columns (k, n) of what stands on lines ``first`` (n,), headed by the line, for the plain lines."""
    return np.vstack((first, columns))[:, plain[first]]
