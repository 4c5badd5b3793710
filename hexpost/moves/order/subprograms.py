"""Subprograms: where they are, what calls what, how many blocks that makes, and their rows in the order they run."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, among
from hexpost.machine.words import LABELS
from hexpost.moves.window.complaints import Complaints
from hexpost.program.model import Program

MOST_DEPTH = 16
"""Subprograms may call one another so deep."""
MOST_BLOCKS = 10_000_000
"""A program with calls may run so many blocks."""


@dataclass(slots=True, eq=False)
class Section:
    """The rows ``begin`` to ``end`` (left out) of the main program or a subprogram, and its calls in order.

    A call is its row, the number of the subprogram and how often it runs. ``blocks`` is what one run takes in all,
    ``height`` how deep its calls go; both are -1 until they are known.
    """

    name: str
    begin: int
    end: int
    calls: list[tuple[int, int, int]] = field(default_factory=list)
    blocks: int = -1
    height: int = -1
    rows: Ints | None = None


class Book:
    """The main program and the subprograms behind it, by number; every fault of their calls is reported.

    ``words`` are letters and values of the program as the dialect has them read.
    """

    def __init__(
        self,
        program: Program,
        words: tuple[Codes, Array],
        complaints: Complaints,
        ends: tuple[int, Ints],
        *,
        calls: Ints,
        returns: Ints,
    ) -> None:
        self.program, self.complaints = program, complaints
        self._letter, self._value = words
        end, labels = ends
        self.main = Section("the main program", 0, end)
        self.sections: dict[int, Section] = {}
        self._called: set[int] = set()
        self._wrong = False
        self._saying: Flags = ~among(program.letter, [ord(x) for x in LABELS])
        self._refuse_returns(returns[returns < end])
        edges = np.append(labels, program.lines)
        for begin, behind in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            self._add(begin, behind, returns)
        for section in (self.main, *self.sections.values()):
            inside = _between(calls, section.begin, section.end)
            section.calls = [call for row in inside.tolist() if (call := self._call(row))]
        if not self._wrong:
            self._measure(self.main, 0, [])
        if self._wrong:
            self.main.calls = []

    def uncalled(self) -> tuple[tuple[int, int, int], ...]:
        """Return number, line and count of blocks of the subprograms that no block calls."""
        return tuple(
            (number, s.begin + 1 + self.program.line0, s.end - s.begin)
            for number, s in self.sections.items()
            if number not in self._called
        )

    def run(self, section: Section, most: int) -> Iterator[Ints]:
        """Yield the rows of a section in the order in which they run, in pieces."""
        if section.rows is not None:
            yield section.rows
            return
        if section.blocks <= most:
            section.rows = np.concatenate(list(self._pieces(section, most)))
            yield section.rows
            return
        yield from self._pieces(section, most)

    def _pieces(self, section: Section, most: int) -> Iterator[Ints]:
        """Yield the rows of a section, those of its calls between its own."""
        at = section.begin
        for row, number, times in section.calls:
            yield np.arange(at, row + 1)
            target = self.sections[number]
            together = max(1, most // max(target.blocks, 1))
            for done in range(0, times, together):
                count = min(together, times - done)
                for rows in self.run(target, most):
                    yield np.tile(rows, count)
            at = row + 1
        yield np.arange(at, section.end)

    def _add(self, begin: int, behind: int, returns: Ints) -> None:
        """Note the subprogram that begins with the label in row ``begin`` and ends ahead of row ``behind``."""
        label, number = self._word(begin, "O")
        back = _between(returns, begin, behind)
        end = int(back[0]) + 1 if back.size else behind
        if number in self.sections:
            self._refuse(
                label, "subprogram-twice", f"O{number} is there a second time; give every subprogram its own number"
            )
        self.sections.setdefault(number, Section(f"O{number}" if back.size else "", begin, end))
        after = self._said(end, behind) if back.size else self._said(behind, behind)
        if after.size:
            self._refuse(
                int(after[0]),
                "words-after-return",
                f"{self.complaints.written(int(after[0]))} is between the end of a subprogram (M99) and the next O",
                "these blocks would never run",
            )

    def _call(self, row: int) -> tuple[int, int, int] | None:
        """Return the call in a row; one that cannot be is reported."""
        word, _ = self._word(row, "M")
        at, number = self._word(row, "P")
        if at < 0:
            self._refuse(word, "call-without-number", "the call (M98) has no P")
            return None
        if number not in self.sections:
            there = ", ".join(f"O{n}" for n in sorted(self.sections)[:10]) or "none"
            self._refuse(
                at,
                "subprogram-missing",
                f"no subprogram O{number} after the end of the main program; there is: {there}",
                "a subprogram is after M30, begins with its O number and ends with M99",
            )
            return None
        if not self.sections[number].name:
            self._refuse(at, "subprogram-without-return", f"O{number} has no M99 at its end")
            return None
        repeat, times = self._word(row, "L")
        if repeat >= 0 and times < 1:
            self._refuse(repeat, "repeat-bad", "L is below 1; write L with a whole number from 1")
            return None
        self._called.add(number)
        return row, number, times if repeat >= 0 else 1

    def _measure(self, section: Section, depth: int, trail: list[str]) -> None:
        """Work out blocks and height of a section; calls without end, too deep or too many are reported."""
        if section.blocks >= 0:
            return
        blocks, height = section.end - section.begin, 0
        for row, number, times in section.calls:
            target = self.sections[number]
            chain = [*trail, section.name]
            if target.name in chain:
                ring = " calls ".join([*chain[chain.index(target.name) :], target.name])
                self._refuse(
                    self._word(row, "P")[0], "endless-calls", f"subprograms call one another without end: {ring}"
                )
                return
            if depth + 1 + max(target.height, 0) <= MOST_DEPTH:
                self._measure(target, depth + 1, chain)
            if self._wrong:
                return
            height = max(height, 1 + max(target.height, 0))
            if depth + height > MOST_DEPTH:
                what = f"calls more than {MOST_DEPTH} deep"
                self._refuse(self._word(row, "P")[0], "calls-too-deep", what)
                return
            blocks += times * target.blocks
            if blocks > MOST_BLOCKS:
                what = f"this call makes the program run more than {MOST_BLOCKS:,} blocks"
                self._refuse(self._word(row, "P")[0], "too-many-blocks", what, "is the repeat count L right?")
                return
        section.blocks, section.height = blocks, height

    def _said(self, begin: int, end: int) -> Ints:
        """Return the words of the rows ``begin`` to ``end`` (left out) that are no labels."""
        first, last = int(self.program.first[begin]), int(self.program.first[end])
        return first + np.flatnonzero(self._saying[first:last])

    def _word(self, row: int, letter: str) -> tuple[int, int]:
        """Return index and value of the first word of a letter in a row; -1 where there is none, or no whole one."""
        first, last = int(self.program.first[row]), int(self.program.first[row + 1])
        for at in range(first, last):
            if self._letter[at] == ord(letter):
                value = float(self._value[at])
                return at, int(value) if value == int(value) and value >= 0 else -1
        return (first, -1) if letter in "MO" else (-1, -1)

    def _refuse_returns(self, rows: Ints) -> None:
        """Report the first M99 in the main program."""
        if rows.size:
            self._refuse(
                int(self._said(int(rows[0]), int(rows[0]) + 1)[0]),
                "return-in-main",
                "M99 in the main program: it would start over without end",
                "end the main program with M30",
            )

    def _refuse(self, at: int, code: str, what: str, hint: str = "") -> None:
        self._wrong = True
        self.complaints.word(at, code, what, hint)


def _between(rows: Ints, begin: int, end: int) -> Ints:
    """Return those of rising ``rows`` from ``begin`` to ``end`` (left out)."""
    low, high = np.searchsorted(rows, (begin, end))
    return rows[low:high]
