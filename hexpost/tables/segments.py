"""The table cut at every wait: what a controller compares before it moves on, and what it waits for."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.moves.model import Events
from hexpost.setpoints.model import Setpoints
from hexpost.tables.quantise import MICROS

SCHEMA_VERSION = 1
_STEP = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """A row of the table after which the controller waits, the word that asks for it, and its line."""

    row: int
    word: str
    line: int


def waits(events: Events, ticks: Ints, blocks: Mapping[int, int]) -> list[Wait]:
    """Return the waits of a program by their rows, those of one row in their order; ``ticks`` (e,) of the events.

    ``blocks``, for single block: rows that end a block, with its line; their word is ``block`` where no other waits.
    """
    asked = np.flatnonzero(events.wait).tolist()
    found = [Wait(row=int(ticks[i]), word=events.word(i), line=int(events.line[i])) for i in asked]
    own = {wait.row for wait in found}
    found += [Wait(row=row, word="block", line=line) for row, line in blocks.items() if row not in own]
    return sorted(found, key=lambda wait: wait.row)


class Segments:
    """Takes all samples in the order of time and cuts them after the rows of ``waits``, which never fall.

    A wait after the row of the one before has a segment of its own, without rows: its lengths are those of that row.
    The checksum of a segment is the SHA-256 of its lengths as whole numbers of 1e-6 mm, little-endian 64 bit, six for
    each row: it is the same whatever the format of the table.
    """

    def __init__(self, waits_: Sequence[Wait], period: float) -> None:
        self._waits = waits_
        self._micros = round(period * MICROS)
        self._next = 0
        self._rows: list[dict[str, object]] = []
        self._hash = hashlib.sha256()
        self._first, self._seen = 0, 0
        self._before: Array = np.zeros(6)
        self._last: Array = np.zeros(6)

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        rounded = setpoints.length * _STEP
        np.rint(rounded, out=rounded)
        whole = np.empty(rounded.shape[::-1], dtype="<i8")
        whole.T[...] = rounded
        start = 0
        while start < len(whole):
            wait = self._waits[self._next] if self._next < len(self._waits) else None
            end = len(whole) if wait is None else min(wait.row + 1 - self._seen + start, len(whole))
            self._take(whole[start:end])
            start = end
            while self._next < len(self._waits) and self._seen > self._waits[self._next].row:
                self._close(self._waits[self._next])

    def document(self) -> bytes:
        """Return ``segments.json``, after all samples."""
        if self._seen > self._first or not self._rows:
            self._close(None)
        return (json.dumps({"schema_version": SCHEMA_VERSION, "segments": self._rows}, indent=1) + "\n").encode()

    def _take(self, whole: Ints) -> None:
        if self._seen == self._first:
            self._before = whole[0] / _STEP
        self._last = whole[-1] / _STEP
        self._hash.update(whole.data)
        self._seen += len(whole)

    def _close(self, wait: Wait | None) -> None:
        last = self._seen - 1
        before = self._before if last >= self._first else self._last
        self._next += wait is not None
        self._rows.append(
            {
                "segment": len(self._rows) + 1,
                "first_row": self._first,
                "last_row": last,
                "rows": self._seen - self._first,
                "time_s": min(self._first, max(last, 0)) * self._micros / MICROS,
                "until_s": max(last, 0) * self._micros / MICROS,
                "lengths_before_mm": before.tolist(),
                "lengths_after_mm": self._last.tolist(),
                "sha256": self._hash.hexdigest(),
                "waits_for": None if wait is None else {"word": wait.word, "line": wait.line},
            }
        )
        self._first, self._hash = self._seen, hashlib.sha256()
