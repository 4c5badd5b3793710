"""What a reader hands on: the words of a part program as columns, with their place in the text."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """A part program (or a window of whole blocks of one) as columns; one block is one line of text.

    Words, shape (w,), in the order of the text:
    ``letter`` upper-case address as a byte (``N`` is a block number, ``O`` a program number, ``:`` an alignment
    number), ``value`` as written (correctly rounded), ``pointed`` whether the number was written with a
    decimal point, ``line`` and ``column`` from 1.

    Blocks, by line: ``first`` (n_lines + 1,) index of the first word of each line; ``skip`` the lines (k,) that
    begin with an optional block skip. Comments: ``comment_line``, ``comment_start``, ``comment_end`` (c,) with
    byte offsets into ``source``. ``line_start`` (n_lines + 1,) byte offsets of the lines in ``source``.
    """

    name: str
    source: bytes
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

    @property
    def lines(self) -> int:
        """Return the number of lines."""
        return len(self.first) - 1

    def text(self, line: int) -> str:
        """Return the text of ``line`` (from 1) without its line end."""
        a, b = int(self.line_start[line - 1]), int(self.line_start[line])
        return self.source[a:b].rstrip(b"\r\n").decode("latin-1")

    def block(self, line: int) -> str:
        """Return the block number of ``line`` as written (``"N120"``), or an empty string."""
        a, b = int(self.first[line - 1]), int(self.first[line])
        at = a + np.flatnonzero(self.letter[a:b] == ord("N"))
        return f"N{self.value[at[0]]:.0f}" if at.size else ""
