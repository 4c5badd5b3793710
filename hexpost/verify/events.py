"""The event table against the events of the program, and against the rows at which the tool reaches their places."""

from pathlib import Path

import numpy as np

from hexpost.arrays import Ints, distinct
from hexpost.errors import HexpostError
from hexpost.moves.model import WITH, Events, Moves
from hexpost.verify.follow import Placed
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import MOST_DOCUMENT, open_plain
from hexpost.voice import in_line

HEADER = ["time_s", "sample", "line", "word", "rule", "wait", "pause_s"]
Waits = tuple[int, str, int]
"""A row after which the controller waits, the word that asks for it, and its line."""
_SLACK = 1e-6
"""A dwell may be this share of a period shorter than asked for: one rounding error costs no row."""


class Reached:
    """The first row at which the tool has reached the end of each move (k,) that is asked for, rising.

    ``row`` (k,): -1 where none did; ``early`` (k,): that row or the one before, for both are at the end by what the
    decimals, or the corner of a line of several moves, tell. ``late`` (k,): so many rows behind will do, for the move
    is shorter than the decimals tell.
    """

    def __init__(self, wanted: Ints, *, free_yaw: bool) -> None:
        self._spare = int(free_yaw)  # where the platform turns about it, a tool that hardly moves seems to rest
        self.move = distinct(wanted)
        self.row = np.full(len(self.move), -1, dtype=np.int64)
        self.early = np.zeros(len(self.move), dtype=bool)
        self.late = np.zeros(len(self.move), dtype=np.int64)
        self.row[self.move < 0] = 0
        self._next = int(np.searchsorted(self.move, 0))

    def add(self, p: Placed) -> None:
        """Look at the rows of a piece."""
        move = p.moves
        end = int(np.searchsorted(self.move, move[-1], "right"))
        if end == self._next:
            return
        some = self.move[self._next : end]
        local = some - p.stretch.low
        halts = p.zones.stop[np.maximum(local, 0)]
        left = (1.0 - p.share[p.old :]) * p.stretch.length[p.move[p.old :]]
        noise = 4.0 * (p.noise[0] + p.stretch.rho * p.noise[1])[p.old :]
        at_end = left <= noise
        rest = p.rest[p.old :] & at_end
        where = np.flatnonzero(rest)
        i = np.searchsorted(move[where], some)
        rests = np.append(where, len(move))[i]
        found = np.searchsorted(move, some, "right")
        stood = halts & (i < len(where)) & (np.append(move[where], -1)[i] == some)
        found = np.where(stood, rests, found)
        sure = (found < len(move)) & (local >= 0)
        several = p.several[np.maximum(found - 1, 0)] if len(move) else at_end
        early = ~stood & (found > 0) & (at_end[np.maximum(found - 1, 0)] | several)
        kept = slice(self._next, end)
        new = sure & (self.row[kept] < 0)
        self.row[kept] = np.where(new, p.first + p.old + found, self.row[kept])
        self.early[kept] |= new & (early | ((found == 0) & ~stood))
        tiny = new & stood & (p.stretch.length[np.maximum(local, 0)] <= noise[np.minimum(found, len(move) - 1)])
        own = np.append(0, np.cumsum(~p.dwelt))
        end_of = np.searchsorted(move, some, "right")
        more = np.maximum(own[end_of] - own[np.minimum(found, end_of)] - 1, 0)
        self.late[kept] = np.where(tiny, more, self.late[kept])
        self._next += int(np.argmin(np.append(sure, False)))  # what is not reached yet is looked for in the next piece

    def of(self, moves: Ints) -> tuple[Ints, Ints]:
        """Return the first and the last row (n,) that will do as the end of moves (n,); -1 where none was found."""
        k = np.searchsorted(self.move, moves)
        return self.row[k] - self.early[k], self.row[k] + self.late[k] + self._spare * (self.row[k] > 0)


class EventTable:
    """The rows of ``events.csv`` beside the events that the program holds."""

    def __init__(
        self,
        events: Events,
        moves: Moves,
        period: float,
        *,
        single_block: bool = False,
        free_yaw: bool = False,
        knots: bool = False,
    ) -> None:
        self._events, self._moves = events, moves
        line = moves.line
        new = np.append(line[1:] != line[:-1], True)[: len(line)]
        self._blocks = np.flatnonzero(new) if single_block else np.zeros(0, dtype=np.int64)
        self._ticks = np.ceil(np.maximum(events.pause, 0.0) / period - _SLACK).astype(np.int64)
        self.faults = Faults()
        self.sample: Ints | None = None
        before = (events.rule == WITH) & (events.move >= 0)
        self._end_of = events.move - before
        self.reached = Reached(np.append(self._end_of, self._blocks), free_yaw=free_yaw)
        self._micros, self._knots = round(period * 1e6), knots

    def read(self, path: Path) -> None:
        """Read the table and compare it word by word with the program.

        Raises
        ------
        HexpostError
            It is not laid out as that of a job, or cannot be read.
        """
        micros = self._micros
        with open_plain(path, MOST_DOCUMENT) as file:
            rows = [line.split(",") for line in file.read().decode("ascii", "replace").splitlines()]
        header = [*HEADER, *["knot"] * self._knots]
        if not rows or rows[0] != header:
            raise HexpostError(f"{path.name}: expected the columns {','.join(header)}")
        rows = rows[1:]
        if any(len(row) != len(header) or not row[1].isdecimal() or len(row[1]) > 18 for row in rows):
            raise HexpostError(f"{path.name}: expected an event with its sample in each row")
        if len(rows) != len(self._events.line):
            self.faults.add(f"{len(rows)} events in the table, {len(self._events.line)} in the program")
        self.sample = np.array([int(row[1]) for row in rows], dtype=np.int64)
        for i, row in enumerate(rows[: len(self._events.line)]):
            time, rest = divmod(int(row[1]) * micros, 1_000_000)
            want = [f"{time}.{rest:06d}", str(int(row[1])), *self._words(i)]
            if row[: len(HEADER)] != want or not (row[-1].isdecimal() or not self._knots):
                self.faults.add(f"event {i}: {','.join(row):.80}, expected {','.join(want)}")

    def _words(self, i: int) -> list[str]:
        e = self._events
        rule = "with" if e.rule[i] == WITH else "after"
        return [str(e.line[i]), e.word(i), rule, str(int(e.wait[i])), f"{float(e.pause[i]):.6f}"]

    def expected(self) -> tuple[Ints, Ints]:
        """Return the first and the last row (e,) that will do for each event, after all rows."""
        e = self._events
        first, last = self.reached.of(self._end_of)
        total = np.append(0, np.cumsum(self._ticks))
        low, high = np.searchsorted(e.move, self._end_of), np.searchsorted(e.move, self._end_of, "right")
        own = np.searchsorted(e.move, e.move)
        starts = (e.rule == WITH) & (e.move >= 0)
        dwelt = np.where(starts, total[high] - total[low], total[: len(e.move)] - total[own])
        return np.where(first < 0, -1, first + dwelt), np.where(last < 0, -1, last + dwelt)

    def waits(self) -> list[Waits]:
        """Return the rows after which the controller waits, in their order, with the word and the line that ask."""
        rows = self.reached.of(self._blocks)[1]
        lines = self._moves.line[self._blocks].tolist()
        sample = self.sample if self.sample is not None else self.expected()[1]
        asked = np.flatnonzero(self._events.wait[: len(sample)]).tolist()
        words = [(int(sample[i]), self._events.word(i), int(self._events.line[i])) for i in asked]
        ends = dict(zip(rows.tolist(), lines, strict=True))
        for row in {row for row, _, _ in words}:
            ends.pop(row, None)
        return sorted([*words, *((row, "block", line) for row, line in ends.items())], key=lambda wait: wait[0])

    def finish(self, rows: int) -> Check:
        """Return the check, after all rows."""
        first, last = self.expected()
        sample = self.sample if self.sample is not None else last
        for i, row in enumerate(sample[: len(last)].tolist()):
            if row >= rows or not first[i] <= row <= last[i]:
                line = self._events.line[i]
                what = f"at row {row}, the tool comes to its move's place at row {last[i]}"
                self.faults.add(f"event {i} ({in_line(line)}): {what}")
        return Check(name="events", text=f"{len(sample)} events at their rows", faults=self.faults.told())
