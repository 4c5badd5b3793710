"""The way of the tool against the program: on its curves, every move in order, forward, every stop reached."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.verify.follow import Placed
from hexpost.verify.model import Faults, Largest
from hexpost.verify.rows import Rows
from hexpost.voice import in_line

_MOST_TOLD = 50


@dataclass(slots=True)
class Travel:
    """Looks at placed rows, piece by piece."""

    moves: Moves
    machine: Machine
    tip: Largest = field(default_factory=Largest)
    tilt: Largest = field(default_factory=Largest)
    ends: Largest = field(default_factory=Largest)
    faults: Faults = field(default_factory=Faults)
    rest: Faults = field(default_factory=Faults)
    _move: int = -1
    _stood: bool = False

    def add(self, rows: Rows, p: Placed) -> None:
        """Take the rows of a piece."""
        s, z, move = p.stretch, p.zones, p.move
        share = np.clip(p.share, 0.0, 1.0)
        off = s.off(p.q, share, move)
        tip, tilt = np.sqrt((off[:3] ** 2).sum(axis=0)), np.sqrt((off[3:] ** 2).sum(axis=0))
        length = s.length[move]
        done = p.share * length
        noise = p.noise[0] + s.rho * p.noise[1]
        # what of an error is along a move, is one of its share: weights as in the length of a move
        along = ((s.tip / s.length)[move] * p.noise[0]) + ((s.rho**2 * s.tilt / s.length)[move] * p.noise[1])
        early, late = done <= z.first[move] + noise, length - done <= z.last[move] + noise
        room = [
            np.maximum(np.where(early, side[0][move], 0.0), np.where(late, side[1][move], 0.0))
            for side in (z.tip, z.tilt)
        ]
        reached = p.rest & z.stop[move] & (length - done <= 2.0 * along)  # a stop is met exactly
        room = [np.where(reached, 0.0, side) for side in room]
        beyond = np.maximum(-p.share, p.share - 1.0) * length
        most = 2.0 * along + np.where(p.share < 0.5, z.beyond[0][move], z.beyond[1][move])
        shift = 0.5 * np.maximum(np.where(early, z.jump[0][move], 0.0), np.where(late, z.jump[1][move], 0.0))
        shift *= np.maximum(room[0], s.rho * room[1])  # the nearest place is that far from the one that is meant
        # an error along the move is one of its share, and so of all that changes along it
        room[0] += p.noise[0] + s.rho * p.noise[1] * (s.tip / s.length)[move] + shift
        room[1] += p.noise[1] + p.noise[0] * (s.tilt / s.length)[move] + shift * (s.tilt / s.length)[move]
        good = (tip <= room[0]) & (tilt <= room[1]) & (beyond <= most)
        bad = np.flatnonzero(~good[p.old :]) + p.old
        for i in bad[:_MOST_TOLD]:
            where = rows.where(p.first + int(i))
            if beyond[i] > most[i]:
                self.faults.add(f"{where}: {beyond[i]:.6f} mm beyond the end of its move")
            else:
                what = f"{tip[i]:.3g} mm and {np.degrees(tilt[i]):.3g} deg off the programmed path"
                self.faults.add(
                    f"{where}: {what}, where {room[0][i]:.3g} mm and {np.degrees(room[1][i]):.3g} deg may be"
                )
        self.faults.count += max(len(bad) - _MOST_TOLD, 0)
        new = np.arange(p.old, len(move)) - p.old + p.at.start + rows.old
        self.tip.take(tip[p.old :], rows, new)
        self.tilt.take(tilt[p.old :], rows, new)
        self._order(rows, p, s.way[move] + done, np.maximum(room[0], s.rho * room[1]) + noise)
        self._stops(rows, p, length - done, along)

    def _order(self, rows: Rows, p: Placed, place: Array, room: Array) -> None:
        """Find rows that go back on the way of the program."""
        back = place[:-1] - place[1:] - room[:-1] - room[1:]
        wrong = ~(back <= 0.0) | (p.move[1:] < p.move[:-1])
        for i in np.flatnonzero(wrong)[:_MOST_TOLD]:
            gone = place[i] - place[i + 1]
            self.faults.add(f"{rows.where(p.first + int(i) + 1)}: goes back by {gone:.6f} mm on the programmed path")

    def _stops(self, rows: Rows, p: Placed, left: Array, along: Array) -> None:
        """Find stops that are not reached at rest: at rows whose next row is on another move."""
        move = p.move + p.stretch.low
        at_end = p.rest & (left <= 2.0 * along)
        if not p.old:
            self._enter(rows, p, int(move[0]))
        cut = np.flatnonzero(move[1:] != move[:-1])
        stops = np.append(0, np.cumsum(p.zones.stop))
        first, last = p.move[cut], p.move[cut + 1]
        passed = stops[np.maximum(last, first)] - stops[first]
        halts = p.zones.stop[first]
        for i in cut[(passed > 1) | ((passed == 1) & ~(halts & at_end[cut]))]:
            where = rows.where(p.first + int(i))
            if p.zones.stop[p.move[i]]:
                self.rest.add(f"{where}: the tool does not rest at the end of its move: {left[i]:.6f} mm away")
            if stops[max(p.move[i + 1], p.move[i])] - stops[p.move[i]] > int(p.zones.stop[p.move[i]]):
                self.faults.add(f"{where}: a move before line {p.stretch.line[p.move[i + 1]]} is left out")
        ended = cut[halts & at_end[cut]]
        self.ends.take(left[ended], rows, ended - p.old + p.at.start + rows.old)
        self._move, self._stood = int(move[-1]), bool(at_end[-1])

    def _enter(self, rows: Rows, p: Placed, move: int) -> None:
        """Check that all between the last row and the first one in this frame is done."""
        where = rows.where(p.first)
        if self._move >= 0 and move > self._move and not self._stood:
            self.rest.add(f"{where}: the tool does not rest at the end of the move before")
        if move > self._move + 1 or move < self._move:
            line = self.moves.line[min(self._move + 1, self.moves.count - 1)]
            self.faults.add(f"{where}: moves from line {line} on are left out or run again")

    def finish(self) -> None:
        """Check that the last move is done."""
        if self.moves.count and (self._move != self.moves.count - 1 or not self._stood):
            self.rest.add(f"the last row is not at the end of the last move, in {in_line(self.moves.line[-1])}")
