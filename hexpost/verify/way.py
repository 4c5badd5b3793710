"""The way of the tool: each row on its move, on its curve and in order, from rest to rest, stops as long as asked."""

from collections.abc import Iterator

import numpy as np

from hexpost.arrays import Array
from hexpost.verify.course import Travel
from hexpost.verify.follow import Follower, Placed
from hexpost.verify.lock import locked
from hexpost.verify.model import Check, Faults
from hexpost.verify.pace import RestTimes
from hexpost.verify.rows import Rows
from hexpost.verify.settings import JobInputs
from hexpost.verify.struts import about_z
from hexpost.verify.suspects import Suspects
from hexpost.voice import in_line


class Way:
    """Puts rows on the moves of a program, batch by batch, and looks at how they follow these."""

    def __init__(self, inputs: JobInputs, period: float) -> None:
        machine, meaning, moves = inputs.machine, inputs.meaning, inputs.meaning.moves
        free = inputs.settings.yaw == "follow"
        self._inputs = inputs
        self._follower = Follower(moves, meaning.events, machine, period, free_yaw=free)
        self._course = Travel(moves, machine)
        self._rests = RestTimes(moves, meaning.events, period, free_yaw=free)
        self._suspects = Suspects(machine, moves)
        self._locked = locked(machine, moves)
        self._ends = Faults()
        self._last: Array | None = None

    def pieces(self, rows: Rows) -> Iterator[Placed]:
        """Yield the new rows on their moves, cut where the frame changes, once their way was looked at."""
        if not self._inputs.meaning.moves.count or not rows.count or self._locked:
            return
        if rows.first + rows.old == 0 and (rows.speed[:, rows.old].any() or rows.acceleration[:, rows.old].any()):
            self._ends.add("row 0: expected the struts at rest")
        self._last = np.concatenate([rows.speed[:, -1], rows.acceleration[:, -1]])
        before = self._wrong()
        for placed in self._follower.pieces(rows):
            if placed.first == 0 and not placed.old:
                self._start(placed)
            self._course.add(rows, placed)
            self._rests.add(rows, placed)
            yield placed
        if self._wrong() > before:
            self._suspects.look(rows)

    def _wrong(self) -> int:
        return self._course.faults.count + self._follower.lost.count + self._follower.faults.count

    def _start(self, p: Placed) -> None:
        """Check that the gauge point and the axis of the tool begin where the job starts."""
        machine, pose, frame = self._inputs.machine, self._inputs.meaning.start, p.struts.frame
        turned = frame.base_from_work[:3, :3] @ p.struts.angles.matrices(p.poses.q[3:, :1])[0] @ about_z(frame.yaw)
        tip = frame.base_from_work[:3, :3] @ p.poses.q[:3, 0] + frame.base_from_work[:3, 3]
        gauge = tip + turned @ (machine.platform.gauge_point - frame.tip)
        axis = p.struts.angles.matrices(pose[3:, None])[0][:, 2]
        off = float(np.sqrt(((gauge - pose[:3]) ** 2).sum()))
        aside = float(np.sqrt(((turned[:, 2] - axis) ** 2).sum()))
        lever = float(np.sqrt(((machine.platform.gauge_point - frame.tip) ** 2).sum()))
        if not off <= 2.0 * (p.noise[0, 0] + lever * p.noise[1, 0]) or not aside <= 2.0 * p.noise[1, 0]:
            self._ends.add(f"row 0: the gauge point is {off:.6f} mm off the place where the job starts")

    def finish(self, rows: int) -> None:
        """End, after so many rows."""
        if self._inputs.meaning.moves.count and self._locked is None:
            self._course.finish()
            self._rests.finish()
        if self._last is None or self._last.any():
            self._ends.add(f"last row, {rows - 1}: expected the struts at rest")

    def path(self) -> Check:
        """Return the check of the path, after all rows."""
        tip, tilt, tools = self._course.tip, self._course.tilt, self._inputs.machine.tool_tip
        faults = (
            *(() if self._locked is None else (self._locked,)),
            *self._suspects.told(),
            *self._follower.lost.told(),
            *self._follower.faults.told(),
            *self._course.faults.told(),
        )
        position = f"{tip.size:.6f} mm off the program at most (row {tip.row}, {in_line(tip.line)})"
        turned = f"{np.degrees(tilt.size):.6f} deg (row {tilt.row}, {in_line(tilt.line)})"
        allowed = f"{tools.corner_tolerance:g} mm and {np.degrees(tools.corner_tolerance_tilt):g} deg are allowed"
        return Check(name="path", text=f"the tool is {position}, {turned}; {allowed} at corners", faults=faults)

    def stops(self) -> Check:
        """Return the check of stops and rests, after all rows."""
        ends = self._course.ends
        text = f"starts and ends at rest, reaches every stop within {ends.size:.6f} mm ({in_line(ends.line)})"
        faults = (*self._ends.told(), *self._course.rest.told(), *self._rests.faults.told())
        return Check(name="stops", text=text, faults=faults)
