"""Bytes to ``Program``: the fast reader first, and the parser for every line that it leaves."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from hexpost.arrays import keep_memory
from hexpost.errors import MOST_FAULTS, Fault
from hexpost.program.assemble import join, window
from hexpost.program.model import Program
from hexpost.program.parse import Line, parse
from hexpost.program.pieces import Piece, no_text, other_file, pieces
from hexpost.program.scan import LONGEST_LINE, scan
from hexpost.shelf import Text, reader

WINDOW = 1 << 18
"""Bytes read at once: the work arrays of a window stay in the cache (measured: 8 MiB is 1.6 times slower)."""

BLANKS = b" \t"
MOST_COUNTED = 10 * MOST_FAULTS
"""After so many faults reading stops: a file of another kind has a fault on every line."""

MOST_MARKS = 1000
"""Lines with a program start or end, which only the (slow) parser reads."""

LONGEST_LEADER = 100
"""Lines of free text ahead of a program start that are looked at."""


def read(source: Text, name: str, faults: list[Fault]) -> Program:
    """Return the whole part program ``source``; append all its syntax faults to ``faults``.

    Lines that hold a fault are empty in the result: the caller must not go on with it.
    """
    return join(windows(reader(source), name, faults), name, source)


def windows(file: BinaryIO, name: str, faults: list[Fault], size: int = WINDOW) -> Iterator[Program]:
    """Yield a part program in windows of whole lines, of about ``size`` bytes each, in bounded memory.

    Faults are appended to ``faults`` as the windows are read, ``MOST_FAULTS`` at most, of which the last then counts
    the rest; the caller must look at them after the last window.
    """
    reading = Reading(name, faults)
    keep_memory()
    for piece in pieces(file, size):
        if fault := no_text(name, piece, reading.lines) or (None if reading.lines else other_file(name, piece)):
            reading.add(fault)
            break
        yield reading.window(piece)
        if reading.stopped:
            break
    reading.finish()


@dataclass
class Reading:
    """One file on its way in: what has been read of it so far.

    ``lines``, ``words``: how many. ``count``: faults found, listed or not. ``end``: the line of the program end, 0
    before it. ``resumed``: a word behind it was noted. ``judged``: the last line that went to the parser.
    ``marks``: lines with ``%``.
    """

    name: str
    faults: list[Fault]
    lines: int = 0
    words: int = 0
    count: int = 0
    end: int = 0
    resumed: bool = False
    judged: int = 0
    marks: int = 0

    @property
    def stopped(self) -> bool:
        """Return whether so much is wrong that the rest is not worth reading."""
        return self.count >= MOST_COUNTED or self.marks > MOST_MARKS

    def window(self, piece: Piece) -> Program:
        """Return the window that ``piece`` is, and note its faults."""
        text = piece.text
        parsed: list[tuple[int, Line]] = []
        if not self.lines:
            text, parsed = without_leader(text)
        plain = scan(text)
        for i in plain.odd.tolist():
            if self.stopped:
                break
            self.judged = self.lines + i + 1
            raw = text[plain.line_start[i] : plain.line_start[i + 1] - 1]
            if (line := self.judge(self.lines + i + 1, raw)) is not None:
                parsed.append((i, line))
        result = window(self.name, piece, self.lines, plain, parsed)
        self.check_end(result, [self.lines + i + 1 for i, line in parsed if line.percent])
        self.lines += result.lines
        self.words += len(result.letter)
        return result

    def judge(self, number: int, raw: bytes) -> Line | None:
        """Return what the parser finds in line ``number`` (from 1), or None for a fault, which is noted."""
        if len(raw) > LONGEST_LINE:
            what = f"the block has {len(raw)} characters or more; at most {LONGEST_LINE} are read"
            hint = "is this a part program, and did its line ends get lost?"
            self.add(Fault(file=self.name, what=what, code="line-too-long", line=number, hint=hint))
            return None
        line = Line(percent=True) if raw.strip(BLANKS) == b"%" else self.parsed(number, raw)
        if line is None:
            return None
        self.marks += line.percent
        if self.marks > MOST_MARKS:
            what = f"% is on more than {MOST_MARKS} lines; put it on the first and the last one"
            self.add(Fault(file=self.name, what=what, code="too-many-marks", line=number))
        return line

    def parsed(self, number: int, raw: bytes) -> Line | None:
        """Return what the parser finds in line ``number`` (from 1), or None for a syntax fault, which is noted."""
        from lark import UnexpectedInput

        try:
            return parse(raw.decode("latin-1"))
        except UnexpectedInput as error:
            from hexpost.program.mistakes import syntax_faults

            if self.count < MOST_FAULTS:
                for fault in syntax_faults(self.name, number, raw, error):
                    self.add(fault)
            else:
                self.count += 1
            return None

    def check_end(self, part: Program, percent: list[int]) -> None:
        """Note the first word behind the program end, which is the first ``%`` (on lines ``percent``) behind a word."""
        if self.resumed:
            return
        ends = [line for line in percent if self.words or (part.line.size and part.line[0] < line)]
        self.end = self.end or (ends[0] if ends else 0)
        late = np.flatnonzero(part.line > self.end) if self.end else np.empty(0, np.int64)
        if late.size:
            self.resumed = True
            line, column = int(part.line[late[0]]), int(part.column[late[0]])
            what = f"a word is after the program end (% on line {self.end})"
            hint = "one file holds one program: take out what a control would never read"
            self.add(part.fault(line, column, "word-behind-program-end", what, hint))

    def add(self, fault: Fault) -> None:
        """Note a fault; list it as long as there is room for one more, which counts the rest."""
        self.count += 1
        if self.count < MOST_FAULTS:
            self.faults.append(fault)

    def finish(self) -> None:
        """Note what is wrong with the file as a whole."""
        if (more := self.count - (MOST_FAULTS - 1)) > 0:
            what = f"{more} more faults are not listed"
            if self.count >= MOST_COUNTED:
                what = f"{more} or more faults are not listed; lines after {self.judged} were not looked at"
            hint = "is this a part program?"
            self.faults.append(Fault(file=self.name, what=what, code="more-faults", hint=hint, count=more))
        elif not self.words and not self.count:
            what = "no part program: no block holds a word"
            self.faults.append(Fault(file=self.name, what=what, code="no-block"))


def without_leader(text: bytes) -> tuple[bytes, list[tuple[int, Line]]]:
    """Return the first piece of a file with its leader blanked, and the lines of the leader as comments.

    A leader is free text ahead of the program start (``%``), which controls ignore. Lines that hold a readable
    word are no leader, for they may be the program.
    """
    if b"%" not in text:
        return text, []
    start = re.search(rb"^[ \t]*%[^\n]*\n(?=\s*[^\s%])", text, re.MULTILINE)
    if start is None or text.count(b"\n", 0, start.start()) > LONGEST_LEADER:
        return text, []
    leader = text[: start.start()]
    if not leader.strip(BLANKS + b"\n"):
        return text, []
    from lark import UnexpectedInput

    lines, strange = [], False
    for i, raw in enumerate(leader.split(b"\n")):
        try:
            if len(raw) <= LONGEST_LINE and parse(raw.decode("latin-1")).words:
                return text, []
        except UnexpectedInput:
            strange = True
        if name := raw.strip():
            lines.append((i, Line(comments=[(raw.index(name), raw.index(name) + len(name))])))
    if not strange:
        return text, []
    return re.sub(rb"[^\n]", b" ", leader) + text[start.start() :], lines
