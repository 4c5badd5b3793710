"""A shop's own words, read as the machine file says: ignored, read as another word, or refused."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, among
from hexpost.machine.wording import CENTRES, UNDECIDED, DialectWord
from hexpost.machine.words import ARC_MODE, CALL, group_of, groups
from hexpost.moves.model import Remark
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.extract import Extract
from hexpost.program.model import Program

TAKEN_OUT = 0
"""Letter of a word that is not read."""
PARAMETERS, KEPT = "XYZABCIJKRPQL", "FSTHD"
"""Letters that mean nothing without a word of their block; letters that are kept whatever else the block says."""
OF_AN_M_WORD = "IJKRPQL"
"""Letters that can be parameters of an M word."""
OWNERS = ("motion", "cycle", "machine coordinates", "reference return", "preset", "dwell")
"""Groups of G words that take parameters: beside one of them, an ignored word leaves nothing over."""


class Dialect:
    """The table of a machine file; gathers what was ignored over all extracts."""

    def __init__(self, rows: tuple[DialectWord, ...]) -> None:
        self.rows = decided(rows)
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
            if row.action in CENTRES:
                letter[at], value[at] = ord(ARC_MODE), CENTRES[row.action]
                meant = row.action.replace("-", " ")
                self._same[f"{row.word} means {meant} of arcs (dialect table of the machine file)"] = None
                continue
            letter[at] = TAKEN_OUT
            if row.action == "refuse":
                complaints.words(at, "dialect-refused", _refusal(row.message))
            else:
                self._ignore(_name(row), extract, at)
        read = replace(extract, letter=letter, value=value)
        for row, at in found:
            taken = _take_along(read, row, extract.row(at))
            if row.action == "same-as" and taken.size:
                self._ignore(f"{' '.join(row.along)} beside {_name(row, along=False)}", extract, taken)
        for row, at in found:
            if row.action == "ignore":
                _refuse_rest(read, row, extract.row(at), complaints)
        return read

    def plain(self, program: Program) -> tuple[Codes, Array]:
        """Return letters and values of all words of a program as they are read, ``TAKEN_OUT`` for those that are not.

        Without a word of the table in it these are its own columns.
        """
        letter, value = program.letter, program.value
        found = [(row, np.flatnonzero(_matches(program.letter, program.value, row))) for row in self.rows]
        found = [(row, at) for row, at in found if at.size]
        if found:
            letter, value = letter.copy(), value.copy()
        for row, at in found:
            letter[at] = ord(row.same_as[0]) if row.same_as else TAKEN_OUT
            if row.same_as:
                value[at] = float(row.same_as[1:])
        for row, at in found:
            along = np.flatnonzero(among(letter, [ord(x) for x in row.along]))
            letter[along[among(program.line[along], program.line[at])]] = TAKEN_OUT
        return letter, value

    def readings(self) -> tuple[str, ...]:
        """Return a sentence for each word that was read as another."""
        return tuple(self._same)

    def ignored(self) -> tuple[Remark, ...]:
        """Return what was ignored: word, first line, count."""
        return tuple(Remark(line=line, text=text, count=count) for text, (line, count) in self._ignored.items())

    def _ignore(self, text: str, extract: Extract, at: Ints) -> None:
        """Note ignored words ``at`` (k,)."""
        line = int(extract.line(extract.row(at[:1]))[0])
        first, before = self._ignored.get(text, (line, 0))
        self._ignored[text] = (min(first, line), before + len(at))


def decided(rows: Sequence[DialectWord]) -> tuple[DialectWord, ...]:
    """Return the rows of the table that say what is done: one that is undecided counts as none."""
    return tuple(row for row in rows if row.action != UNDECIDED)


def _name(row: DialectWord, *, along: bool = True) -> str:
    """Return the word of a row with what goes along and what the shop says of it."""
    name = " ".join((row.word, *(("with", *row.along) if row.along and along else ())))
    return f"{name} ({row.message})" if row.message else name


def _take_along(read: Extract, row: DialectWord, rows: Ints) -> Ints:
    """Take out, and return, the words that one of a row takes along in its blocks ``rows`` (k,)."""
    at = np.flatnonzero(among(read.letter, [ord(x) for x in row.along]))
    at = at[among(read.row(at), rows)]
    read.letter[at] = TAKEN_OUT
    return at


def _refuse_rest(read: Extract, row: DialectWord, rows: Ints, complaints: Complaints) -> None:
    """Report what an ignored word leaves over in its blocks ``rows`` (k,), where no other word takes it.

    A G word has parameters; an M word has those that its row names, and no axis word is one (common practice); a letter
    alone has none. Words that are kept for later blocks are left over only by a row that takes others along: there they
    would be parameters, too.
    """
    if len(row.word) == 1 or (row.word[0] != "G" and not row.along):
        return
    letters = OF_AN_M_WORD if row.word[0] != "G" else PARAMETERS + (KEPT if row.along else "")
    at = np.flatnonzero(among(read.letter, [ord(x) for x in letters]))
    at = at[among(read.row(at), rows)]
    if not at.size:
        return
    coded = np.flatnonzero(read.letter == ord("G"))
    owned = coded[among(group_of("G", read.value[coded]), [1 + groups("G").index(name) for name in OWNERS])]
    called = np.flatnonzero((read.letter == ord("M")) & (read.value == CALL))
    of_a_call = among(read.letter[at], [ord(x) for x in "PL"]) & among(read.row(at), read.row(called))
    at = at[~among(read.row(at), read.row(owned)) & ~of_a_call]
    complaints.words(
        at[np.append(True, np.diff(read.row(at)) != 0)[: len(at)]],
        "dialect-rest",
        lambda word: f"{word} is left over: {row.word} in this block is not read",
        f'in the row of {row.word} in the dialect table, name the letters that are to go along, as in with = "XYZ"',
    )


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
