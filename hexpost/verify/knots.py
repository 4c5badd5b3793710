"""Knots of compact motion against the table: each is a row, what must be one is, and the cubics stay by all rows.

A cubic is taken by its four control values here, a, a + h v / 3, b - h w / 3, b (P. Bezier; S. Bernstein, 1912).
"""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from hexpost.arrays import Ints
from hexpost.verify.columns import ACCELERATION, GROUPS, STRUTS, Layout
from hexpost.verify.model import Check, Faults
from hexpost.verify.plain import MOST_DOCUMENT, open_plain
from hexpost.verify.rows import Rows, most_bytes, whole_numbers
from hexpost.verify.segments import ToldSegments

NAME = "knots.csv"
_SPARE = 1e-9
"""Cubics worked out in two ways may differ by this, mm."""


def knot_layout(micros: int) -> Layout:
    """Return the columns of a table of knots."""
    groups = [(g.column(k), g.decimals) for g in GROUPS[:ACCELERATION] for k in STRUTS]
    names, decimals = zip(("time_s", 3 if micros % 1000 == 0 else 6), ("sample", 0), *groups, strict=True)
    return Layout(names=list(names), decimals=list(decimals), micros=micros)


class Must(NamedTuple):
    """A row that must be a knot, why, and the number of the knot that the event table says."""

    row: int
    why: str
    knot: int | None = None


def musts(folder: Path, segments: ToldSegments) -> list[Must]:
    """Return what knots have to be: the rows of events, and the last row of each segment.

    Raises
    ------
    HexpostError
        The event table cannot be read.
    """
    with open_plain(folder / "events.csv", MOST_DOCUMENT, root=folder) as file:
        rows = [line.split(",") for line in file.read().decode("ascii", "replace").splitlines()][1:]
    out = [Must(int(r[1]), f"event {i} ({r[3]})", int(r[-1])) for i, r in enumerate(rows)]
    return [*out, *(Must(x["last_row"], f"segment {i} ends there") for i, x in enumerate(segments, 1))]


class KnotRows:
    """Goes along rows and knots together; ``within`` [mm] is how near the cubics must stay."""

    def __init__(self, folder: Path, rows: int, micros: int, within: float, digests: dict[str, str]) -> None:
        self._columns, self._micros, self._within = knot_layout(micros), micros, within
        self._folder, self._most, self._digests = folder, most_bytes(rows, self._columns), digests
        self._knots = self._read()
        self._ahead: Ints = np.zeros((14, 0), dtype=np.int64)
        self._held: Ints = np.zeros((12, 0), dtype=np.int64)
        self._first = 0
        self.at: list[int] = []
        self.faults = Faults()
        self._worst = 0.0

    def add(self, rows: Rows) -> None:
        """Look at the new rows of a batch."""
        speed = np.rint(rows.speed[:, rows.new] * 1e6).astype(np.int64)
        self._held = np.concatenate([self._held, np.concatenate([rows.whole, speed])], axis=1)
        known = self._first + self._held.shape[1]
        while not self._ahead.shape[1] or self._ahead[1, -1] < known:
            more = next(self._knots, None)
            if more is None:
                break
            self._ahead = np.concatenate([self._ahead, more], axis=1)
        count = int(np.argmax(np.append(self._ahead[1] >= known, True)))
        for knot in self._ahead[:, :count].T:
            self._take(knot)
        self._ahead = self._ahead[:, count:]
        if self.at:
            self._held, self._first = self._held[:, self.at[-1] - self._first :], self.at[-1]

    def finish(self, rows: int, must: Sequence["Must"]) -> Check:
        """Return the check, after all rows; ``must``: what knots have to be."""
        if self._ahead.shape[1] or next(self._knots, None) is not None:
            self.faults.add(f"{NAME}: it has knots after the last row")
        if not self.at or self.at[0] != 0 or self.at[-1] != rows - 1:
            self.faults.add(f"{NAME}: its knots are not from the first row to the last")
        place = {row: i for i, row in enumerate(self.at)}
        for m in must:
            if m.row not in place:
                self.faults.add(f"{NAME}: row {m.row} is no knot: {m.why}")
            elif m.knot is not None and m.knot != place[m.row]:
                self.faults.add(f"events.csv: {m.why} is at knot {place[m.row]}, it says {m.knot}")
        share = rows / max(len(self.at), 1)
        text = f"{len(self.at):,} knots, one in {share:.1f} rows; cubics within {self._worst * 1e3:.4f} um of all rows"
        return Check(name="knots", text=text, faults=self.faults.told())

    def _take(self, knot: Ints) -> None:
        """Compare a knot with its row, and the rows since the knot before with the cubics to it."""
        row = int(knot[1])
        scale = 10 ** (6 - self._columns.decimals[0])
        if knot[0] * scale != row * self._micros or (self.at and row <= self.at[-1]):
            self.faults.add(f"{NAME}: knot {len(self.at)}: time and sample {row} do not follow those before")
            return
        at, held = row - self._first, self._held
        if at < 0 or (held[:, at] != knot[2:]).any():
            self.faults.add(f"{NAME}: knot {len(self.at)}: its lengths and speeds are not those of row {row}")
            return
        if self.at:
            self._cubics(held, self.at[-1] - self._first, at)
        self.at.append(row)

    def _cubics(self, held: Ints, a: int, b: int) -> None:
        """Look how far rows between two knots, at ``a`` and ``b``, are from the cubics."""
        if b - a < 2:
            return
        u = np.arange(1, b - a) / (b - a)
        third = (b - a) * self._micros / 3e6
        ends = held[:, [a, b]] / 1e6
        first, last = ends[:6, :1], ends[:6, 1:]
        c1, c2 = first + third * ends[6:, :1], last - third * ends[6:, 1:]
        r = 1.0 - u
        cubic = r**3 * first + 3.0 * r * r * u * c1 + 3.0 * r * u * u * c2 + u**3 * last
        off = float(np.abs(cubic - held[:6, a + 1 : b] / 1e6).max())
        self._worst = max(self._worst, off)
        if not off <= self._within + _SPARE:
            where = f"between rows {a + self._first} and {b + self._first}"
            self.faults.add(
                f"{NAME}: a cubic is {off * 1e3:.4g} um off a row {where}; {self._within * 1e3:g} are allowed"
            )

    def _read(self) -> Iterator[Ints]:
        """Yield the knots as whole numbers (14, n)."""
        total = hashlib.sha256()
        with open_plain(self._folder / NAME, self._most, root=self._folder) as file:
            yield from whole_numbers(file, NAME, self._columns, total.update)
        self._digests[NAME] = total.hexdigest()
