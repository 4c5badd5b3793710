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

ToldSegments = Sequence[Mapping[str, Any]]


class SegmentRows:
    """Walks along the rows and keeps what each segment holds; ``ends`` are their last rows, never falling."""

    def __init__(self, ends: Sequence[int], period_us: int) -> None:
        self._ends = ends
        self._found: list[tuple[Ints, Ints, str]] = []
        self._faults = Faults()
        self._row = 0
        self._micros = period_us
        self._before: Ints | None = None
        self._hash = hashlib.sha256()

    def add(self, rows: Rows) -> None:
        """Take the new rows of a batch."""
        whole = rows.whole.T.astype("<i8")
        start = 0
        while start < len(whole) and len(self._found) < len(self._ends):
            last = self._ends[len(self._found)]
            end = min(last + 1 - self._row + start, len(whole))
            if end <= start:
                self._faults.add(f"segment {len(self._found) + 1}: its rows do not follow those of the segment before")
                self._ends = self._ends[: len(self._found)]
                return
            part = np.ascontiguousarray(whole[start:end])
            if self._before is None:
                self._before = part[0]
            self._hash.update(part.tobytes())
            self._row += len(part)
            start = end
            if self._row > last:
                self._found.append((self._before, part[-1], self._hash.hexdigest()))
                self._before, self._hash = None, hashlib.sha256()
                while len(self._found) < len(self._ends) and self._ends[len(self._found)] == last:
                    self._found.append((part[-1], part[-1], self._hash.hexdigest()))  # without rows: it waits again

    def finish(self, rows: int, waits: Sequence[Waits], segments: ToldSegments) -> Check:
        """Return the check, after all rows.

        ``waits``: the rows after which to wait, with the word and the line; ``segments``: what ``segments.json`` tells.
        """
        if len(self._found) < len(self._ends) and rows:
            self._faults.add(f"segment {len(self._found) + 1}: the table ends before it does")
        elif self._row < rows:
            self._faults.add(f"row {self._row}: it and those after it belong to no segment")
        cuts: list[tuple[int, Waits | None]] = [(wait[0], wait) for wait in waits]
        if not waits or waits[-1][0] != rows - 1:
            cuts.append((rows - 1, None))
        first = 0
        for i, (segment, (last, wait)) in enumerate(zip(segments, cuts, strict=False), 1):
            wanted = {
                "segment": i, "first_row": first, "last_row": last, "rows": last + 1 - first,
                "time_s": min(first, max(last, 0)) * self._micros / 1e6, "until_s": max(last, 0) * self._micros / 1e6,
                "waits_for": None if wait is None else {"word": wait[1], "line": wait[2]},
            }  # fmt: skip
            for key, value in wanted.items():
                if segment.get(key) != value:
                    self._faults.add(f"segment {i}: {key}: {segment.get(key)!r:.60}, expected {value!r:.60}")
            first = last + 1
        if len(cuts) != len(segments):
            self._faults.add(f"{len(segments)} segments, the program asks for {len(cuts)}")
        for i, (segment, (before, after, digest)) in enumerate(zip(segments, self._found, strict=False), 1):
            self._compare(i, before, segment["lengths_before_mm"], "before")
            self._compare(i, after, segment["lengths_after_mm"], "after")
            if digest != segment["sha256"]:
                self._faults.add(f"segment {i}: its checksum is not that of its rows")
        text = f"{len(segments)} segments, cut where the controller waits"
        return Check(name="segments", text=text, faults=self._faults.told())

    def _compare(self, segment: int, whole: Ints, told: list[float], when: str) -> None:
        if not np.array_equal(np.rint(np.array(told) * 1e6), whole):
            self._faults.add(f"segment {segment}: lengths {when} it are not those of its rows")


def told_segments(path: Path) -> ToldSegments:
    """Return what ``segments.json`` tells of each segment.

    Raises
    ------
    HexpostError
        It is not laid out as that of a job.
    """
    found = document(path, "it belongs to every job").get("segments")
    if not isinstance(found, list) or not all(isinstance(x, dict) and type(x.get("last_row")) is int for x in found):
        raise HexpostError(f"{path.name}: expected the segments of a job")
    return found
