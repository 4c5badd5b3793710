"""A shop's own words, read as the machine file says: ignored, read as another word, or refused."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.machine.wording import DialectWord
from hexpost.moves.model import Remark
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.extract import Extract
from hexpost.program.model import Program

TAKEN_OUT = 0
"""Letter of a word that is not read."""


class Dialect:
    """The table of a machine file; gathers what was ignored over all extracts."""

    def __init__(self, rows: tuple[DialectWord, ...]) -> None:
        self.rows = rows
        self._ignored: dict[str, tuple[int, int]] = {}
        self._same: dict[str, None] = {}

    def applied(self, extract: Extract, complaints: Complaints) -> Extract:
        """Return the extract with its own words replaced; refused ones are reported and taken out."""
        found = [(row, np.flatnonzero(_matches(extract.letter, extract.value, row))) for row in self.rows]
        found = [(row, at) for row, at in found if at.size]
        if not found:
            return extract
        letter, value = extract.letter.copy(), extract.value.copy()
        for row, at in found:
            if row.action == "same-as":
                letter[at], value[at] = ord(row.same_as[0]), float(row.same_as[1:])
                self._same[f"{row.word} is read as {row.same_as} (dialect table of the machine file)"] = None
                continue
            letter[at] = TAKEN_OUT
            if row.action == "refuse":
                complaints.words(at, "dialect-refused", _refusal(row.message))
            else:
                self._ignore(row, int(extract.line(extract.row(at[:1]))[0]), len(at))
        return replace(extract, letter=letter, value=value)

    def words(self, program: Program, letter: str) -> tuple[Ints, Array]:
        """Return the words (k,) of a whole program that are read as those of a letter: index and value."""
        letters, value = program.letter, program.value
        rows = [row for row in self.rows if letter in (row.word[0], row.same_as[:1])]
        if rows:
            letters, value = letters.copy(), value.copy()
        for row in rows:
            at = np.flatnonzero(_matches(program.letter, program.value, row))
            letters[at] = ord(row.same_as[0]) if row.same_as else TAKEN_OUT
            if row.same_as:
                value[at] = float(row.same_as[1:])
        found = np.flatnonzero(letters == ord(letter))
        return found, value[found]

    def readings(self) -> tuple[str, ...]:
        """Return a sentence for each word that was read as another."""
        return tuple(self._same)

    def ignored(self) -> tuple[Remark, ...]:
        """Return what was ignored: word, first line, count."""
        return tuple(Remark(line=line, text=text, count=count) for text, (line, count) in self._ignored.items())

    def _ignore(self, row: DialectWord, line: int, count: int) -> None:
        text = f"{row.word} ({row.message})" if row.message else row.word
        first, before = self._ignored.get(text, (line, 0))
        self._ignored[text] = (min(first, line), before + count)


def _refusal(message: str) -> Callable[[str], str]:
    """Return what is said of a refused word."""
    return lambda word: f"{word} is refused by the machine file: {message}"


def _matches(letter: Codes, value: Array, row: DialectWord) -> Flags:
    """Return which words (w,) a row of the table names; a letter alone names it with any number."""
    named: Flags = letter == ord(row.word[0])
    if len(row.word) == 1:
        return named
    out: Flags = named & (np.abs(value - float(row.word[1:])) < 1e-9)
    return out
