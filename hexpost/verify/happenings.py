"""The event table against the events of the program, and against where the tool is at their samples."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import HexpostError
from hexpost.machine.model import Machine
from hexpost.moves.model import WITH, Events
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import MOST_DOCUMENT, open_plain
from hexpost.verify.pose import Poses
from hexpost.verify.route import Route
from hexpost.verify.rows import Rows

HEADER = ["time_s", "sample", "line", "word", "rule", "wait", "pause_s"]
_NEAR_MM = 1e-4


@dataclass(slots=True)
class Happenings:
    """The rows of ``events.csv`` beside the events that the program holds."""

    path: Path
    events: Events
    machine: Machine
    period: float
    faults: Faults = field(default_factory=Faults)
    _sample: Ints = field(init=False)
    _order: Ints = field(init=False)
    _done: int = 0

    def __post_init__(self) -> None:
        """Read the table and compare it word by word with the program."""
        rows = self._read()
        want = [self._words(i) for i in range(len(self.events.line))]
        have = [tuple(row[2:]) for row in rows]
        if len(want) != len(have):
            self.faults.add(f"{len(have)} events in the table, {len(want)} in the program")
        for i, (w, h) in enumerate(zip(want, have, strict=False)):
            if w != h:
                self.faults.add(f"event {i}: {','.join(h)}, the program has {','.join(w)}")
        self._sample = np.array([int(row[1]) for row in rows], dtype=np.int64)
        micros = round(self.period * 1e6)
        for i, row in enumerate(rows):
            if round(float(row[0]) * 1e6) != self._sample[i] * micros:
                self.faults.add(f"event {i}: time {row[0]} s is not that of sample {row[1]}")
        for i in np.flatnonzero(np.diff(self._sample) < 0).tolist():
            self.faults.add(f"event {i + 1}: takes effect before the event ahead of it")
        self._order = np.argsort(self._sample, kind="stable")

    def _read(self) -> list[list[str]]:
        with open_plain(self.path, MOST_DOCUMENT) as file:
            lines = file.read().decode("ascii", "replace").splitlines()
        rows = [line.split(",") for line in lines]
        if not rows or rows[0] != HEADER:
            raise HexpostError(f"{self.path.name}: expected the columns {','.join(HEADER)}")
        for i, row in enumerate(rows[1:], 2):
            try:
                sound = len(row) == len(HEADER) and int(row[1]) >= 0 and float(row[0]) >= 0.0
            except ValueError:
                sound = False
            if not sound:
                raise HexpostError(f"{self.path.name}: line {i}: expected an event, found {','.join(row):.60}")
        return rows[1:]

    def _words(self, i: int) -> tuple[str, ...]:
        e = self.events
        rule = "with" if e.rule[i] == WITH else "after"
        return str(e.line[i]), e.word(i), rule, str(int(e.wait[i])), f"{float(e.pause[i]):.6f}"

    def place(self, rows: Rows, poses: Poses, route: Route) -> None:
        """Check where the tool is at the samples among the new rows: at the end or the start of the event's move."""
        begin, end = rows.first + rows.old, rows.first + len(rows.micros)
        inside = np.flatnonzero((self._sample >= begin) & (self._sample < end))
        inside = inside[inside < len(self.events.move)]
        self._done += len(inside)
        inside = inside[self.events.move[inside] >= 0]
        if not inside.size or not route.moves.count:
            return
        at, move = self._sample[inside] - begin, self.events.move[inside]
        on = self.events.rule[inside] == WITH
        off: Array = np.where(
            on,
            route.from_end(poses.t[at], poses.r[at], move, start=True)[0],
            route.from_end(poses.t[at], poses.r[at], move)[0],
        )
        rest = np.abs(rows.speed[:, rows.old :][:, at]).max(axis=0) == 0.0
        tools = self.machine.tool_tip
        room = np.where(rest, _NEAR_MM, tools.corner_tolerance + 1.5 * tools.speed * self.period)
        for i in inside[off > room]:
            self.faults.add(
                f"event {i} (line {self.events.line[i]}): at its sample the tool is not at its move's place"
            )

    def finish(self, rows: int) -> Check:
        """Return the check, after all rows."""
        for i in np.flatnonzero(self._sample >= rows):
            self.faults.add(f"event {i}: sample {self._sample[i]} is beyond the last row")
        return Check(name="events", text=f"{len(self._sample)} events at their places", faults=self.faults.told())
