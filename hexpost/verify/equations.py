"""The equations of a proof: one pass over the rows of a table, beside nothing but machine, program and settings.

``prove_equations`` is for whoever has a table and no folder yet: it needs no manifest and no report.
"""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.arrays import Array
from hexpost.verify.against_report import check_limits
from hexpost.verify.base import PlatformPoses
from hexpost.verify.bodies import Bodies
from hexpost.verify.commands import CommandColumns, described
from hexpost.verify.continuity import Continuity, most_jerk
from hexpost.verify.course import Travel
from hexpost.verify.diligence import Diligence
from hexpost.verify.events import EventTable
from hexpost.verify.follow import Follower, Placed
from hexpost.verify.joints import JointAngles
from hexpost.verify.limits import Clock, MotionLimits
from hexpost.verify.loads import WorstLoads
from hexpost.verify.model import Check, Faults
from hexpost.verify.pace import Pace, RestTimes
from hexpost.verify.rows import Rows
from hexpost.verify.rules import Rules
from hexpost.verify.segments import SegmentRows, ToldSegments, told_segments
from hexpost.verify.settings import JobInputs
from hexpost.verify.singular import SingularPoses
from hexpost.verify.struts import Angles, about_z
from hexpost.verify.suspects import Suspects
from hexpost.verify.told import Told
from hexpost.voice import in_line


def prove_equations(
    batches: Iterable[Rows],
    inputs: JobInputs,
    micros: int,
    *,
    report: Mapping[str, Any] | None = None,
    events: Path | None = None,
    segments: Path | None = None,
) -> list[Check]:
    """Return the checks of a table whose rows come in ``batches``, one every ``micros`` microseconds.

    ``report``, ``events`` and ``segments``, where they are there, are compared with what the table shows.
    """
    told = None if segments is None else told_segments(segments)
    equations = Equations(inputs, micros, ends=None if told is None else [x["last_row"] for x in told])
    for rows in batches:
        equations.add(rows)
    return equations.finish(report, events, told)


class Equations:
    """Takes the rows of a table, batch by batch; ``ends``: the last rows of its segments, where there are any."""

    def __init__(self, inputs: JobInputs, micros: int, *, ends: Sequence[int] | None = None) -> None:
        machine, meaning, moves = inputs.machine, inputs.meaning, inputs.meaning.moves
        self._inputs, self._period = inputs, micros / 1e6
        tips = np.array([f.tip for f in moves.frames]).reshape(-1, 3)
        self.clock = Clock(micros)
        self._continuity = Continuity(most_jerk(machine, tips), self._period)
        self._limits = MotionLimits(machine, self._period, most_jerk(machine, tips))
        free = inputs.settings.yaw == "follow"
        self._follower = Follower(moves, meaning.events, machine, self._period, free_yaw=free)
        self._course = Travel(moves, machine)
        self._pace = Pace(machine, self._period, free)
        self._diligence = Diligence(machine, self._period, inputs.settings.feed == "as-programmed")
        self._rests = RestTimes(moves, meaning.events, self._period, free_yaw=free)
        reference = Angles(machine.tilt_order).matrices(machine.reference[3:, None])[0]
        self._joints, self._bodies = JointAngles(machine, reference), Bodies(machine)
        self._singular = SingularPoses(machine, reference)
        self._loads = WorstLoads(machine, inputs.tools, meaning, self._period, free_yaw=free)
        single = inputs.settings.single_block
        self._events = EventTable(meaning.events, moves, self._period, single_block=single, free_yaw=free)
        self._rules = Rules(machine, inputs.tools, meaning)
        self._commands = CommandColumns(machine, reference) if described(machine) else None
        self._suspects = Suspects(machine, moves)
        self._cuts = None if ends is None else SegmentRows(ends, micros)
        self._ends = Faults()
        self._last: Array | None = None
        self._rounding = 0.0

    def add(self, rows: Rows) -> None:
        """Take the next rows."""
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # what is no number fails every check
            self.clock.add(rows)
            self._continuity.add(rows)
            self._limits.add(rows)
            if self._cuts is not None:
                self._cuts.add(rows)
            if not self._inputs.meaning.moves.count or not rows.count:
                return
            if rows.first + rows.old == 0:
                self._at_rest(rows, rows.old, "row 0")
            self._last = np.concatenate([rows.speed[:, -1], rows.acceleration[:, -1]])
            before = self._wrong()
            for placed in self._follower.pieces(rows):
                self._take(rows, placed)
            if self._wrong() > before:
                self._suspects.look(rows)

    def _wrong(self) -> int:
        return self._course.faults.count + self._follower.lost.count + self._follower.faults.count

    def _take(self, rows: Rows, placed: Placed) -> None:
        """Take the rows of a piece in one frame."""
        if placed.first == 0 and not placed.old:
            self._start(placed)
        self._course.add(rows, placed)
        self._pace.add(rows, placed)
        self._diligence.add(rows, placed)
        self._rests.add(rows, placed)
        self._limits.add_deviation(rows, placed)
        self._events.reached.add(placed)
        self._singular.add(rows, placed)
        self._rules.add(rows, placed)
        if self._commands is not None:
            self._commands.add(rows, placed)
        if not (self._joints.limited or self._bodies.limited or self._loads.limited):
            return
        platform = PlatformPoses(self._inputs.machine, placed)
        self._joints.add(rows, placed.at, platform)
        self._rounding = max(self._rounding, min(10.0 * float(placed.noise[0].max()), 1e-3))
        self._bodies.add(rows, placed.at, platform, self._rounding)
        self._loads.add(rows, placed, platform)

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

    def _at_rest(self, rows: Rows, i: int, name: str) -> None:
        if rows.speed[:, i].any() or rows.acceleration[:, i].any():
            self._ends.add(f"{name}: expected the struts at rest")

    def finish(
        self, report: Mapping[str, Any] | None = None, events: Path | None = None, segments: ToldSegments | None = None
    ) -> list[Check]:
        """Return the checks, after all rows; what is told of report, events and segments is compared with them."""
        if events is not None:
            self._events.read(events)
        if self._inputs.meaning.moves.count:
            self._course.finish()
            self._rests.finish()
            self._diligence.finish()
        if self._last is None or self._last.any():
            self._ends.add(f"last row, {self.clock.rows - 1}: expected the struts at rest")
        rows = self.clock.rows
        use = self._continuity.worst
        belong = f"lengths, speeds and accelerations belong to each other (worst {use.size:.0%} of the room)"
        checks = [
            Check(name="time", text=self.clock.text(), faults=self.clock.faults.told()),
            Check(name="continuity", text=belong, faults=self._continuity.faults.told()),
        ]
        if report is not None:
            told = Told(report)
            checks.append(check_limits(self._limits, told))
            some = (self._joints, self._singular, self._loads, self._bodies)
            checks += [c.check(told) for c in some if c.limited]
            checks.append(self._rules.check(told))
        checks += [self._path(), self._feeds(), self._stops(), self._events.finish(rows)]
        if self._commands is not None and self._commands.rows:
            checks.append(self._commands.check())
        if self._cuts is not None and segments is not None:
            checks.append(self._cuts.finish(rows, self._events.waits(), segments))
        return checks

    def _path(self) -> Check:
        tip, tilt, tools = self._course.tip, self._course.tilt, self._inputs.machine.tool_tip
        faults = (
            *self._suspects.told(),
            *self._follower.lost.told(),
            *self._follower.faults.told(),
            *self._course.faults.told(),
        )
        position = f"{tip.size:.6f} mm off the program at most (row {tip.row}, {in_line(tip.line)})"
        turned = f"{np.degrees(tilt.size):.6f} deg (row {tilt.row}, {in_line(tilt.line)})"
        allowed = f"{tools.corner_tolerance:g} mm and {np.degrees(tools.corner_tolerance_tilt):g} deg are allowed"
        return Check(name="path", text=f"the tool is {position}, {turned}; {allowed} at corners", faults=faults)

    def _feeds(self) -> Check:
        use, pull = self._pace.use, self._pace.acceleration
        speed = f"{use.size:.3%} of feeds and tool-tip speeds (row {use.row}, {in_line(use.line)})"
        text = f"at most {speed}, {pull.size:.1%} of tool-tip accelerations (row {pull.row}, {in_line(pull.line)})"
        return Check(name="feeds", text=text, faults=(*self._pace.faults.told(), *self._diligence.faults.told()))

    def _stops(self) -> Check:
        ends = self._course.ends
        text = f"starts and ends at rest, reaches every stop within {ends.size:.6f} mm ({in_line(ends.line)})"
        faults = (*self._ends.told(), *self._course.rest.told(), *self._rests.faults.told())
        return Check(name="stops", text=text, faults=faults)
