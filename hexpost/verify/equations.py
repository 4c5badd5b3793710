"""The equations of a proof: one pass over the rows of a table, beside nothing but machine, program and settings.

``prove_equations`` is for whoever has a table and no folder yet: it needs no manifest and no report.
"""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.verify.against_report import check_limits
from hexpost.verify.base import PlatformPoses
from hexpost.verify.bodies import Bodies
from hexpost.verify.commands import CommandColumns, described
from hexpost.verify.continuity import Continuity, most_jerk
from hexpost.verify.contour import TipPath
from hexpost.verify.diligence import Diligence
from hexpost.verify.elastic import ElasticStruts, makes_up
from hexpost.verify.events import EventTable
from hexpost.verify.follow import Placed
from hexpost.verify.joints import JointAngles
from hexpost.verify.limits import Clock, MotionLimits
from hexpost.verify.load_columns import LoadColumns, has_columns
from hexpost.verify.loads import WorstLoads
from hexpost.verify.model import Check
from hexpost.verify.pace import Pace
from hexpost.verify.places import places
from hexpost.verify.rows import Rows
from hexpost.verify.rules import Rules
from hexpost.verify.segments import SegmentRows, ToldSegments, told_segments
from hexpost.verify.settings import JobInputs
from hexpost.verify.singular import SingularPoses
from hexpost.verify.struts import Angles
from hexpost.verify.told import Told
from hexpost.verify.vibration import RestSwings, averages
from hexpost.verify.way import Way
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
    equations = Equations(inputs, micros, ends=None if told is None else [x["last_row"] for x in told], report=report)
    for rows in batches:
        equations.add(rows)
    return equations.finish(report, events, told)


class Equations:
    """Takes the rows of a table, batch by batch; ``ends``: the last rows of its segments, where there are any.

    ``report``: where it is there before the rows are, places and times of worst values are looked at, too.
    """

    def __init__(
        self, inputs: JobInputs, micros: int, *,
        ends: Sequence[int] | None = None, report: Mapping[str, Any] | None = None,
    ) -> None:  # fmt: skip
        machine, meaning, moves = inputs.machine, inputs.meaning, inputs.meaning.moves
        self._inputs, self._period = inputs, micros / 1e6
        tips = np.array([f.tip for f in moves.frames]).reshape(-1, 3)
        self.clock = Clock(micros)
        self._continuity = Continuity(most_jerk(machine, tips), self._period)
        free, sags = inputs.settings.yaw == "follow", makes_up(machine)
        self._limits = MotionLimits(machine, self._period, most_jerk(machine, tips), driven=sags)
        self._limits.places = places(report, self._period)
        self._elastic = ElasticStruts(machine, inputs.tools, meaning, self._period, free_yaw=free) if sags else None
        self._way = Way(inputs, self._period)
        self._pace = Pace(machine, self._period, free)
        longer = averages(machine, moves) if inputs.settings.calm else 0.0
        self._diligence = Diligence(machine, self._period, inputs.settings.feed == "as-programmed", longer)
        reference = Angles(machine.tilt_order).matrices(machine.reference[3:, None])[0]
        self._joints, self._bodies = JointAngles(machine, reference), Bodies(machine)
        self._singular = SingularPoses(machine, reference)
        self._loads = WorstLoads(machine, inputs.tools, meaning, self._period, free_yaw=free)
        self._tip_path = TipPath(machine, self._period)
        self._swings = RestSwings(machine, self._period, free_yaw=free)
        single, knots = inputs.settings.single_block, inputs.settings.knots_within is not None
        self._events = EventTable(meaning.events, moves, self._period, single_block=single, free_yaw=free, knots=knots)
        self._rules = Rules(machine, inputs.tools, meaning)
        self._drives = LoadColumns(machine, self._period, self._loads)
        self._commands = CommandColumns(machine, reference) if described(machine) else None
        self._cuts = None if ends is None else SegmentRows(ends, micros)
        self._rounding = 0.0

    def add(self, rows: Rows) -> None:
        """Take the next rows."""
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # what is no number fails every check
            self.clock.add(rows)
            self._continuity.add(rows)
            self._limits.add(rows)
            self._drives.add_jerk(rows)
            if self._cuts is not None:
                self._cuts.add(rows)
            for placed in self._way.pieces(rows):
                self._take(rows, placed)

    def _take(self, rows: Rows, placed: Placed) -> None:
        """Take the rows of a piece in one frame."""
        self._pace.add(rows, placed)
        self._diligence.add(rows, placed)
        self._limits.add_deviation(rows, placed)
        self._events.reached.add(placed)
        self._singular.add(rows, placed)
        self._tip_path.add(rows, placed)
        self._swings.add(rows, placed)
        self._rules.add(rows, placed)
        limited, drives = self._joints.limited or self._bodies.limited, has_columns(rows)
        if self._commands is None and self._elastic is None and not (limited or drives or self._loads.limited):
            return
        platform = PlatformPoses(self._inputs.machine, placed)
        more = None
        if self._elastic is not None:
            added, growing, room = self._elastic.of(rows, placed, platform)
            self._limits.add_driven(rows, placed.at.start + rows.old, added, growing, room)
            more = added, room
        if self._commands is not None:
            self._commands.add(rows, placed, platform, more)
        if self._loads.limited or drives:
            loads = self._loads.found(rows, placed, platform)
            self._drives.add(rows, placed, loads, more)
            if self._loads.limited:
                self._loads.add(rows, placed, loads)
        if not limited:
            return
        self._joints.add(rows, placed.at, platform)
        self._rounding = max(self._rounding, min(10.0 * float(placed.noise[0].max()), 1e-3))
        self._bodies.add(rows, placed.at, platform, self._rounding)

    def finish(
        self, report: Mapping[str, Any] | None = None, events: Path | None = None, segments: ToldSegments | None = None
    ) -> list[Check]:
        """Return the checks, after all rows; what is told of report, events and segments is compared with them."""
        if events is not None:
            self._events.read(events)
        rows = self.clock.rows
        self._way.finish(rows)
        if self._inputs.meaning.moves.count:
            self._diligence.finish()
        use = self._continuity.worst
        belong = f"lengths, speeds and accelerations belong to each other (worst {use.size:.0%} of the room)"
        checks = [
            Check(name="time", text=self.clock.text(), faults=self.clock.faults.told()),
            Check(name="continuity", text=belong, faults=self._continuity.faults.told()),
        ]
        if report is not None:
            told = Told(report)
            checks.append(check_limits(self._limits, told))
            some = (self._joints, self._singular, self._loads, self._bodies, self._tip_path, self._swings)
            checks += [c.check(told) for c in some if c.limited]
            checks.append(self._rules.check(told))
        checks += [self._way.path(), self._feeds(), self._way.stops(), self._events.finish(rows)]
        if self._commands is not None and self._commands.rows:
            checks.append(self._commands.check())
        if self._drives.rows:
            checks.append(self._drives.check())
        if self._cuts is not None and segments is not None:
            checks.append(self._cuts.finish(rows, self._events.waits(), segments))
        return checks

    def _feeds(self) -> Check:
        use, pull, jerk = self._pace.use, self._pace.acceleration, self._pace.jerk
        speed = f"{use.size:.3%} of feeds and tool-tip speeds (row {use.row}, {in_line(use.line)})"
        text = f"at most {speed}, {pull.size:.1%} of tool-tip accelerations (row {pull.row}, {in_line(pull.line)})"
        text += f", {jerk.size:.1%} of tool-tip jerks (row {jerk.row}, {in_line(jerk.line)})"
        return Check(name="feeds", text=text, faults=(*self._pace.faults.told(), *self._diligence.faults.told()))
