"""The order in which the blocks of a program run: subprograms called, blocks skipped, the end respected."""

from collections.abc import Iterator

import numpy as np

from hexpost.arrays import Ints, among, distinct
from hexpost.machine.words import CALL, CLOSING, ENDING, LABELS, RETURN
from hexpost.moves.model import Switches
from hexpost.moves.order.subprograms import Book, Section
from hexpost.moves.reading.dialect import Dialect
from hexpost.moves.window.complaints import Complaints, Ledger
from hexpost.moves.window.extract import Extract, gathered, stretch
from hexpost.program.model import Program


class Route:
    """The blocks of a program as extracts of at most about ``window`` rows, in the order in which they run."""

    def __init__(self, program: Program, dialect: Dialect, switches: Switches, ledger: Ledger) -> None:
        self.program = program
        self.uncalled: tuple[tuple[int, int, int], ...] = ()
        """Subprograms that nothing calls: number, line, blocks."""
        self._skipped = program.skip - (1 + program.line0) if switches.skip else program.skip[:0]
        self._complaints = Complaints(stretch(program, 0, program.lines), ledger)
        letter, value = dialect.plain(program)
        self._words = np.flatnonzero(letter == ord("M"))
        self._codes = value[self._words]
        ends = self._rows(*ENDING)
        self._end = int(ends[0]) + 1 if ends.size else program.lines
        calls, returns = self._rows(CALL), self._rows(RETURN)
        labels = _label_rows(program, self._end)
        self._refuse_after_end(int(labels[0]) if labels.size else program.lines)
        self._book: Book | None = None
        if calls.size or returns.size or labels.size:
            self._book = Book(
                program, (letter, value), self._complaints, (self._end, labels), calls=calls, returns=returns
            )
            self.uncalled = self._book.uncalled()

    @property
    def calls(self) -> bool:
        """Return whether the program calls any subprogram, so that lines may run several times."""
        return self._book is not None and bool(self._book.main.calls)

    def extracts(self, window: int) -> Iterator[Extract]:
        """Yield the blocks in the order in which they run; at least one extract, which may be empty."""
        if self._book is not None and self.calls:
            yield from self._called(self._book, self._book.main, window)
            return
        for begin in range(0, max(self._end, 1), window):
            end = min(begin + window, self._end)
            skipped = self._skipped[(self._skipped >= begin) & (self._skipped < end)] if len(self._skipped) else ()
            if len(skipped):
                yield gathered(self.program, np.setdiff1d(np.arange(begin, end), skipped))
            else:
                yield stretch(self.program, begin, end)

    def _called(self, book: Book, main: Section, window: int) -> Iterator[Extract]:
        """Yield the blocks of a program with calls, small pieces joined."""
        waiting: list[Ints] = []
        count = 0
        for rows in book.run(main, window):
            kept = rows[~among(rows, self._skipped)] if len(self._skipped) else rows
            waiting.append(kept)
            count += len(kept)
            if count >= window:
                yield gathered(self.program, np.concatenate(waiting))
                waiting, count = [], 0
        yield gathered(self.program, np.concatenate([np.empty(0, np.int64), *waiting]))

    def _rows(self, *codes: int) -> Ints:
        """Return the rows (rising) that hold one of the M codes and are not skipped."""
        words = self._words[among(self._codes, codes)]
        rows = distinct(self.program.line[words] - np.int64(1 + self.program.line0))
        return rows[~among(rows, self._skipped)]

    def _refuse_after_end(self, until: int) -> None:
        """Report the first word between the end of the program and row ``until`` that does more than close the file."""
        begin, end = int(self.program.first[self._end]), int(self.program.first[until])
        letter, value = self.program.letter[begin:end], self.program.value[begin:end]
        closes = (letter == ord("M")) & among(value, CLOSING)
        said = begin + np.flatnonzero(~closes & ~among(letter, [ord(x) for x in LABELS]))
        if said.size:
            found = self._complaints.written(int(said[0]))
            self._complaints.word(
                int(said[0]),
                "words-after-end",
                f"{found} is after the end of the program ({self._end_word()})",
                "these blocks would never run: take them out, take the end word away, or put O and a number ahead of "
                "them, if they are a subprogram",
            )

    def _end_word(self) -> str:
        """Return the end word as written, with its line."""
        begin, end = int(self.program.first[self._end - 1]), int(self.program.first[self._end])
        last = [at for at in range(begin, end) if self.program.letter[at] == ord("M")][-1]
        return f"{self._complaints.written(last)} in line {self._end + self.program.line0}"


def _label_rows(program: Program, after: int) -> Ints:
    """Return the rows from ``after`` on that hold a program number."""
    begin = int(program.first[after])
    words: Ints = begin + np.flatnonzero(program.letter[begin:] == ord("O"))
    return program.line[words] - np.int64(1 + program.line0)
