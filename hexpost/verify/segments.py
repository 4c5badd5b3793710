"""The segments of a job against its table: rows, lengths at both ends, checksums, and the waits of the program."""

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.arrays import Ints
from hexpost.errors import HexpostError
from hexpost.verify.events import Waits
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import document
from hexpost.verify.rows import Rows


class SegmentRows:
    """Walks along the rows beside the segments of ``segments.json``."""

    def __init__(self, path: Path, period_us: int) -> None:
        try:
            found = document(path, "it belongs to every job")["segments"]
        except (KeyError, TypeError) as error:
            raise HexpostError(f"{path.name}: expected the segments of a job") from error
        self._segments: list[Mapping[str, Any]] = found
        self._faults = Faults()
        self._at = 0
        self._row = 0
        self._micros = period_us
        self._hash = hashlib.sha256()

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
                self._without_rows(part[-1])

    def _without_rows(self, last: Ints) -> None:
        """Take the segments without rows that follow: the controller waits where it has just waited."""
        while self._at < len(self._segments) and self._segments[self._at]["last_row"] == self._row - 1:
            segment = self._segments[self._at]
            self._compare(last, segment["lengths_before_mm"], "before")
            self._compare(last, segment["lengths_after_mm"], "after")
            self._close(segment)

    def finish(self, rows: int, waits: Sequence[Waits]) -> Check:
        """Return the check, after all rows; ``waits``: the rows after which to wait, with the word and the line."""
        if self._at < len(self._segments) and rows:
            self._faults.add(f"segment {self._at + 1}: the table ends before it does")
        elif self._row < rows:
            self._faults.add(f"row {self._row}: it and those after it belong to no segment")
        cuts: list[tuple[int, Waits | None]] = [(wait[0], wait) for wait in waits]
        if not waits or waits[-1][0] != rows - 1:
            cuts.append((rows - 1, None))
        first = 0
        for i, (segment, (last, wait)) in enumerate(zip(self._segments, cuts, strict=False), 1):
            wanted = {
                "segment": i, "first_row": first, "last_row": last, "rows": last + 1 - first,
                "time_s": min(first, max(last, 0)) * self._micros / 1e6, "until_s": max(last, 0) * self._micros / 1e6,
                "waits_for": None if wait is None else {"word": wait[1], "line": wait[2]},
            }  # fmt: skip
            for key, value in wanted.items():
                if segment.get(key) != value:
                    self._faults.add(f"segment {i}: {key}: {segment.get(key)!r:.60}, expected {value!r:.60}")
            first = last + 1
        if len(cuts) != len(self._segments):
            self._faults.add(f"{len(self._segments)} segments, the program asks for {len(cuts)}")
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
