"""The columns of ``Program``: from what the two readers found in a window, and from windows to the whole."""

from collections.abc import Iterable, Sequence

import numpy as np

from hexpost import shelf
from hexpost.arrays import Ints
from hexpost.program.model import Program
from hexpost.program.parse import Line
from hexpost.program.pieces import Piece
from hexpost.program.scan import Scan, ScannedWords
from hexpost.shelf import Growing, Text

KINDS: dict[str, type[np.generic]] = {
    "letter": np.uint8,
    "value": np.float64,
    "pointed": np.bool_,
    "line": np.int32,
    "column": np.int32,
    "first": np.int64,
    "skip": np.int32,
    "skip_level": np.uint8,
    "comment_line": np.int32,
    "comment_start": np.int64,
    "comment_end": np.int64,
    "line_start": np.int64,
}
"""The columns of ``Program`` and their types."""

FENCES = ("first", "line_start")
"""Columns with one element more than there are lines."""

Parsed = Sequence[tuple[int, Line]]
"""Lines (from 0 in the window, rising) with what the parser found in them."""


def window(name: str, piece: Piece, line0: int, plain: Scan, parsed: Parsed) -> Program:
    """Return the window of a program that ``piece`` is, ``line0`` lines into the file."""
    words = merged_words(plain.words, parsed)
    start = plain.line_start
    lines = len(start) - 1
    first = np.zeros(lines + 1, np.int64)
    np.cumsum(np.bincount(words.line, minlength=lines), out=first[1:])
    skips = merged(plain.skips, [(i, line.skip) for i, line in parsed if line.skip])
    spans = [(i, int(start[i]) + a, int(start[i]) + b) for i, line in parsed for a, b in line.comments]
    comments = merged(plain.comments, spans)
    return sealed(
        Program(
            name=name,
            source=piece.source,
            letter=words.letter,
            value=words.value,
            pointed=words.pointed,
            line=words.line + np.int32(line0 + 1),
            column=words.column,
            first=first,
            skip=(skips[0] + (line0 + 1)).astype(np.int32),
            skip_level=skips[1].astype(np.uint8),
            comment_line=(comments[0] + (line0 + 1)).astype(np.int32),
            comment_start=comments[1] + piece.lead,
            comment_end=comments[2] + piece.lead,
            line_start=np.minimum(start + piece.lead, len(piece.source)),
            line0=line0,
        )
    )


def merged_words(words: ScannedWords, parsed: Parsed) -> ScannedWords:
    """Return the words of both readers in the order of the text."""
    rows = [(i, *word) for i, line in parsed for word in line.words]
    if not rows:
        return words
    line, letter, value, pointed, column = zip(*rows, strict=True)
    more = ScannedWords(
        letter=np.array(letter, np.uint8),
        value=np.array(value, np.float64),
        pointed=np.array(pointed, np.bool_),
        line=np.array(line, np.int32),
        column=np.array(column, np.int32),
    )
    both = ScannedWords.joined([words, more])
    return both.take(np.argsort(both.line, kind="stable"))


def merged(columns: Ints, rows: Sequence[tuple[int, ...]]) -> Ints:
    """Return ``columns`` (k, n), headed by lines, with ``rows`` of the same kind put in where their lines say."""
    if not rows:
        return columns
    both = np.concatenate((columns, np.array(rows, np.int64).T), axis=1)
    return both[:, np.argsort(both[0], kind="stable")]


def join(parts: Iterable[Program], name: str, source: Text) -> Program:
    """Return the whole program from its windows, whose columns are copied to their places as they come."""
    columns = {key: Growing(1) for key in KINDS}
    words = offset = 0
    for key, kind in KINDS.items():
        columns[key].add(np.zeros(int(key in FENCES), kind))
    for p in parts:
        if not offset:
            columns["line_start"].whole()[0] = p.line_start[0]
        shift = {"first": words, "line_start": offset, "comment_start": offset, "comment_end": offset}
        share = len(source) / max(offset + len(p.source), 1)
        for key, column in columns.items():
            own = getattr(p, key)[1:] if key in FENCES else getattr(p, key)
            column.add(own + own.dtype.type(shift[key]) if shift.get(key) else own, share)
        words += len(p.letter)
        offset += len(p.source)
        shelf.let_go()
    whole = {key: columns.pop(key).whole() for key in KINDS}
    return sealed(Program(name=name, source=source, line0=0, **whole))


def sealed(program: Program) -> Program:
    """Return ``program`` with its columns made read-only."""
    for key in KINDS:
        getattr(program, key).flags.writeable = False
    return program
