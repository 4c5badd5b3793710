"""The segments of a job against its table: rows, lengths at both ends, checksums, and the waits of the program."""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.errors import HexpostError
from hexpost.moves.model import Events
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import document
from hexpost.verify.rows import Rows


class Cuts:
    """Walks along the rows beside the segments of ``segments.json``."""

    def __init__(self, path: Path, events: Events) -> None:
        try:
            found = document(path, "it belongs to every job")["segments"]
        except (KeyError, TypeError) as error:
            raise HexpostError(f"{path.name}: expected the segments of a job") from error
        self._segments: list[Mapping[str, Any]] = found
        self._faults = Faults()
        self._at = 0
        self._row = 0
        self._hash = hashlib.sha256()
        told = {s["waits_for"]["line"] for s in found if s["waits_for"]}
        for line in sorted(set(events.line[events.wait].tolist()) - told):
            if not self._together(events, line):
                self._faults.add(f"line {line} asks to wait, but no segment ends there")

    @staticmethod
    def _together(events: Events, line: int) -> bool:
        """Return whether another wait stands at the same place of the motion, so that one segment serves both."""
        waiting = np.flatnonzero(events.wait)
        own = events.move[waiting[events.line[waiting] == line]]
        return bool((np.isin(events.move[waiting], own) & (events.line[waiting] != line)).any())

    def add(self, rows: Rows) -> None:
        """Take the new rows of a batch."""
        whole = rows.whole.T.astype("<i8")
        start = 0
        while start < len(whole) and self._at < len(self._segments):
            segment = self._segments[self._at]
            end = min(segment["last_row"] + 1 - self._row + start, len(whole))
            if end <= start:
                self._faults.add(f"segment {self._at + 1}: its rows do not follow those of the segment before")
                self._at = len(self._segments)
                return
            part = np.ascontiguousarray(whole[start:end])
            if self._row == segment["first_row"]:
                self._compare(part[0], segment["lengths_before_mm"], "before")
            self._hash.update(part.tobytes())
            self._row += len(part)
            start = end
            if self._row > segment["last_row"]:
                self._compare(part[-1], segment["lengths_after_mm"], "after")
                self._close(segment)

    def finish(self, rows: int) -> Check:
        """Return the check, after all rows."""
        if self._at < len(self._segments) and rows:
            self._faults.add(f"segment {self._at + 1}: the table ends before it does")
        elif self._row < rows:
            self._faults.add(f"row {self._row}: it and those after it belong to no segment")
        text = f"{len(self._segments)} segments, cut where the controller waits"
        return Check(name="segments", text=text, faults=self._faults.told())

    def _close(self, segment: Mapping[str, Any]) -> None:
        if self._hash.hexdigest() != segment["sha256"]:
            self._faults.add(f"segment {self._at + 1}: its checksum is not that of its rows")
        self._at += 1
        self._hash = hashlib.sha256()

    def _compare(self, whole: Any, told: list[float], when: str) -> None:  # noqa: ANN401 - a row of whole numbers
        if not np.array_equal(np.rint(np.array(told) * 1e6), whole):
            self._faults.add(f"segment {self._at + 1}: lengths {when} it are not those of its rows")
