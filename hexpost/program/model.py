"""What a reader hands on: the words of a part program as columns, with their place in the text."""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines, among
from hexpost.errors import Fault
from hexpost.shelf import Text, column, windows

WHOLE_BLOCK = frozenset(
    {
        "text-outside-comment", "control-flow", "comment-too-deep", "comment-in-word", "comment-not-closed",
        "comment-not-opened", "word-behind-percent", "line-too-long", "too-many-marks", "not-text", "toml-given",
    }
)  # fmt: skip
"""Codes of syntax faults that leave nothing of their block to look at."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """A part program (or a window of whole blocks of one) as columns; one block is one line of text.

    Words, shape (w,), in the order of the text:
    ``letter`` upper-case address as a byte (``N`` is a block number, ``O`` a program number, ``:`` an alignment
    number), ``value`` as written (correctly rounded), ``pointed`` whether the number was written with a
    decimal point, ``line`` and ``column`` (in bytes) from 1.

    Blocks, by line: ``first`` (n_lines + 1,) index of the first word of each line; ``skip`` the lines (k,) that
    begin with an optional block skip, ``skip_level`` (k,) its level 1 to 9 (``/`` alone is 1). Comments:
    ``comment_line``, ``comment_start``, ``comment_end`` (c,) with byte offsets into ``source``; the name behind a
    program start (``%``) and text ahead of it count as comments. ``line_start`` (n_lines + 1,) byte offsets of the
    lines in ``source``.

    A window: ``line0`` lines of the file come before it. Line numbers (``line``, ``skip``, ``comment_line``, and the
    arguments of the methods) are those of the file; ``first``, ``line_start`` and all offsets are the window's own.
    """

    name: str
    source: Text
    letter: Codes
    value: Array
    pointed: Flags
    line: Lines
    column: Lines
    first: Ints
    skip: Lines
    comment_line: Lines
    comment_start: Ints
    comment_end: Ints
    line_start: Ints
    line0: int = 0
    skip_level: Codes = field(default_factory=lambda: np.empty(0, np.uint8))

    @property
    def lines(self) -> int:
        """Return the number of lines."""
        return len(self.first) - 1

    def only(self, letters: str) -> "Program":
        """Return the program with the words of these addresses alone: its text, its lines and its comments stay."""
        codes = [ord(x) for x in letters]
        keep = np.concatenate(
            [w.start + np.flatnonzero(among(self.letter[w], codes)) for w in windows(len(self.letter))] or [[]]
        ).astype(np.int64)
        names = ("letter", "value", "pointed", "line", "column")
        columns: dict[str, Any] = {name: getattr(self, name)[keep] for name in names}
        first = column(self.first.shape, np.int64)
        for w in windows(len(first)):
            first[w] = np.searchsorted(keep, self.first[w])
        return replace(self, **columns, first=first)

    def places(self, address: str) -> Ints:
        """Return the words (k,) with an address as written, for those who rewrite the text; they ask no meaning."""
        return np.flatnonzero(self.letter == ord(address))

    def raw(self, line: int) -> bytes:
        """Return the bytes of ``line`` (from 1) without its line end."""
        i = line - self.line0
        return self.source[int(self.line_start[i - 1]) : int(self.line_start[i])].rstrip(b"\r\n")

    def text(self, line: int) -> str:
        """Return the text of ``line`` (from 1) without its line end."""
        return decoded(self.raw(line))

    def caret(self, line: int, column: int) -> int:
        """Return where byte ``column`` of ``line`` stands in ``text(line)``, from 1: for the caret of a fault."""
        return caret(self.raw(line), column)

    def fault(self, line: int, column: int, code: str, what: str, hint: str = "") -> Fault:
        """Return a fault at byte ``column`` (from 1) of ``line``, with the text and where its caret stands."""
        at, text = self.caret(line, column), self.text(line)
        return Fault(file=self.name, what=what, code=code, line=line, column=at, text=text, hint=hint)

    def block(self, line: int) -> str:
        """Return the block number of ``line`` as written (``"N120"``), or an empty string."""
        i = line - self.line0
        a, b = int(self.first[i - 1]), int(self.first[i])
        at = a + np.flatnonzero(self.letter[a:b] == ord("N"))
        return f"N{self.value[at[0]]:.0f}" if at.size else ""


def decoded(raw: bytes) -> str:
    """Return bytes as text: UTF-8 where they are that, else one character a byte (ISO 8859-1)."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def caret(raw: bytes, column: int) -> int:
    """Return the column in characters (from 1) of ``decoded(raw)`` that holds byte ``column`` (from 1)."""
    ahead = raw[: column - 1]
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return column
    return len(ahead.decode("utf-8", "ignore")) + 1
