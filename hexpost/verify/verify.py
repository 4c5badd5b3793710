"""The order of a proof: files, inputs, table, path, events, report."""

from dataclasses import dataclass, replace
from math import radians
from pathlib import Path

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.machine.load import load_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.machine.model import Machine, Tools
from hexpost.machine.reading import read_text
from hexpost.moves.interpret import interpret
from hexpost.moves.model import Interpretation, Switches
from hexpost.moves.order.begin import Asked
from hexpost.moves.restart import restarted
from hexpost.program.read import read
from hexpost.verify.against_report import check_limits, unproven
from hexpost.verify.bodies import Bodies
from hexpost.verify.columns import layout
from hexpost.verify.continuity import Continuity, most_jerk
from hexpost.verify.folder import Folder, check_files, open_folder
from hexpost.verify.follow import ROUNDING_MM, Follower
from hexpost.verify.happenings import Happenings
from hexpost.verify.joints import JointAngles
from hexpost.verify.limits import Clock, Limits
from hexpost.verify.loads import Loads
from hexpost.verify.model import Check, Faults, Proof
from hexpost.verify.plain import open_plain
from hexpost.verify.pose import Poses, Tracker
from hexpost.verify.rows import Rows, Table
from hexpost.verify.segments import Cuts
from hexpost.verify.singular import SingularPoses
from hexpost.verify.suspects import Suspects

MOST_PROGRAM = 500_000_000
"""Bytes of an input, at most."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inputs:
    """The copies of the inputs, read again."""

    machine: Machine
    tools: Tools
    meaning: Interpretation


def verify(path: Path) -> Proof:
    """Return what can be proven of the job folder at ``path`` from its files alone.

    Raises
    ------
    HexpostError
        It is not the folder of a job.
    """
    folder = open_folder(path)
    checks: list[Check] = []
    digests: dict[str, str] = {}
    remarks: tuple[str, ...] = ()
    try:
        inputs = _inputs(folder)
        checks.append(_agreement(folder, inputs))
        walk = _Walk(folder, inputs)
        digests = walk.table.digests
        checks += walk.checks()
        remarks = unproven(folder.report)
    except (HexpostError, OSError) as error:
        what = f"{error.filename}: {error.strerror}" if isinstance(error, OSError) else str(error)
        checks.append(Check(name="readable", text="the files of the job can be read", faults=(what,)))
    except (KeyError, TypeError, AttributeError, IndexError, ValueError) as error:
        what = f"manifest or report are not laid out as those of a job: {type(error).__name__} {error}"
        checks.append(Check(name="readable", text="the files of the job can be read", faults=(what,)))
    return Proof(
        folder=str(path),
        checks=(check_files(folder, digests), *checks),
        broken=folder.report.get("verdict") != "clean",
        remarks=remarks,
    )


def _inputs(folder: Folder) -> Inputs:
    faults: list[Fault] = []
    program, machine = folder.input("program"), folder.input("machine")
    if program is None or machine is None:
        raise HexpostError("manifest.json: inputs: expected a program and a machine file")
    tools, setup = folder.input("tools"), folder.input("setup")
    for file in (program, machine, tools, setup):
        if file is not None:
            open_plain(file, MOST_PROGRAM, root=folder.path).close()
    m = load_machine(machine)
    text = read(read_text(program, MOST_PROGRAM), program.name, faults)
    yaw = radians(folder.manifest["settings"].get("yaw_deg", 0.0))
    said = folder.manifest["settings"]
    placed = replace(load_setup(setup) if setup else no_setup(), yaw=yaw, lift=float(said.get("lift_mm", 0.0)))
    switches = Switches(stops=said.get("stops", True), skip=said.get("skip", False))
    t = load_tools(tools) if tools else no_tools()
    begin = Asked(int(said["from_line"]), int(said.get("from_run", 1))) if said.get("from_line") else None
    meaning = interpret(text, m, t, placed, faults, switches=switches, begin=begin)
    if faults:
        raise InputError(faults)
    if begin is not None:
        meaning, _ = restarted(meaning, m, t, placed)
    return Inputs(machine=m, tools=t, meaning=meaning)


def _agreement(folder: Folder, inputs: Inputs) -> Check:
    """Check that manifest, report and the names of the tables tell one story."""
    faults = Faults()
    manifest, report = folder.manifest, folder.report
    clean = report.get("verdict") == "clean"
    pairs = (
        ("runnable", manifest["runnable"], clean),
        ("runnable in the report", report.get("runnable"), clean),
        ("machine", manifest.get("machine"), {"name": inputs.machine.name, "revision": inputs.machine.revision}),
        ("machine of the report", report.get("machine", {}).get("name"), inputs.machine.name),
        ("rows", sum(t["rows"] for t in folder.tables.values()), report.get("rows")),
    )
    for name, found, wanted in pairs:
        if found != wanted:
            faults.add(f"{name}: {found!r}, expected {wanted!r}")
    if not folder.tables:
        faults.add("the manifest lists no setpoint table")
    for name in folder.tables:
        if ("not-runnable" in name) == clean:
            faults.add(f"{name}: its name does not fit the verdict {report.get('verdict')!r}")
    return Check(
        name="agreement", text=f"manifest, report and table names agree: {report.get('verdict')}", faults=faults.told()
    )


class _Walk:
    """One pass over all rows of the table."""

    def __init__(self, folder: Folder, inputs: Inputs) -> None:
        self.folder, self.inputs = folder, inputs
        columns = layout(folder.tables)
        self.table = Table(folder.path, folder.tables, columns)
        machine, moves = inputs.machine, inputs.meaning.moves
        micros = columns.micros
        self.period = micros / 1e6
        tips = np.array([f.tip for f in moves.frames]).reshape(-1, 3)
        self.clock, self.continuity = Clock(micros), Continuity(most_jerk(machine, tips), self.period)
        self.limits = Limits(machine, self.period)
        free = folder.manifest["settings"].get("yaw", "fixed") != "fixed"
        self.follower = Follower(moves, machine, axis_only=free)
        reference = self.follower.route.rotations(machine.reference[3:, None])[0]
        self.joints, self.singular = JointAngles(machine, reference), SingularPoses(machine, reference)
        self.bodies = Bodies(machine)
        self.loads = Loads(machine, inputs.tools, inputs.meaning, self.period)
        self.happenings = Happenings(folder.path / "events.csv", inputs.meaning.events, machine, self.period)
        origin, turned = self._start()
        self.tracker = Tracker(machine, origin, turned, self.period)
        self.start: tuple[Array, Array] = (origin, turned)
        self.rounding = 4.0 * ROUNDING_MM
        self.lost = Faults()
        self.rest = Faults()
        self.suspects = Suspects(machine, self.follower, self.period)
        self.last: Rows | None = None
        self.cuts = Cuts(folder.path / "segments.json", inputs.meaning.events)

    def checks(self) -> list[Check]:
        """Return the checks of the table, after walking all of it."""
        for rows in self.table.blocks():
            self._take(rows)
        self._finish()
        return [
            self._time(),
            self._continuity(),
            self._limits(),
            *(c.check(self.folder.report) for c in (self.joints, self.singular, self.loads, self.bodies) if c.limited),
            *self._path(),
            self._ends(),
            self._events(),
            self.cuts.finish(self.clock.rows),
        ]

    def _start(self) -> tuple[Array, Array]:
        """Return the platform's origin (3,) and rotation (3, 3) at the start of the job."""
        pose, gauge = self.inputs.meaning.start, self.inputs.machine.platform.gauge_point
        turned = self.follower.route.rotations(pose[3:, None])[0]
        return pose[:3] - turned @ gauge, turned

    def _take(self, rows: Rows) -> None:
        self.clock.add(rows)
        self.continuity.add(rows)
        self.limits.add(rows)
        self.cuts.add(rows)
        if not self.follower.moves.count:
            return
        poses = self.tracker.follow(rows.length[:, rows.new])
        if rows.first + rows.old == 0:
            self._first_row(rows, poses)
        group = self.follower.groups(rows)
        found = np.flatnonzero(poses.lost)
        for i in found[:1]:
            self.lost.add(
                f"row {rows.first + rows.old + i}, line {rows.line[rows.old + i]}: its lengths fit no pose nearby"
            )
        self._measure(rows, poses, group)
        self.last = rows

    def _measure(self, rows: Rows, poses: Poses, group: Ints) -> None:
        follower = self.follower
        gain = np.abs(np.linalg.pinv(poses.rows[:: max(len(poses.t) // 8, 1)])[:, :3]).sum(axis=2).max()
        self.rounding = max(self.rounding, min(4.0 * float(gain) * ROUNDING_MM, 1e-3))
        before = follower.faults.count
        follower.measure(rows, poses, group, self.rounding)
        if follower.faults.count > before:
            self.suspects.look(rows, group, self.start)
        self.limits.add_deviation(rows, poses, follower.route, follower.first_move(group), follower.cutting(group))
        self.joints.add(rows, poses)
        self.bodies.add(rows, poses, self.rounding)
        self.singular.add(rows, poses)
        self.loads.add(rows, poses, follower.route, follower.first_move(group), follower.last_move(group))
        self.happenings.place(rows, poses, follower.route)

    def _first_row(self, rows: Rows, poses: Poses) -> None:
        off = float(np.abs(poses.t[0] - self.start[0]).max())
        if poses.lost[0] or off > 10.0 * self.rounding:
            self.rest.add(f"row 0: the platform is {off:.6f} mm off the place where the job starts")
        self._at_rest(rows, rows.old, "row 0")

    def _at_rest(self, rows: Rows, i: int, name: str) -> None:
        if rows.speed[:, i].any() or rows.acceleration[:, i].any():
            self.rest.add(f"{name}: expected the struts at rest")

    def _finish(self) -> None:
        if self.last is not None:
            self._at_rest(self.last, -1, f"last row, {self.clock.rows - 1}")
            self.follower.finish(10.0 * self.rounding, self.period)

    def _time(self) -> Check:
        faults, clock = self.clock.faults, self.clock
        for text in self.table.faults.told():
            faults.add(text)
        said = self.folder.report.get("duration_s")
        if said is None or abs(said - clock.last_us / 1e6) > 1e-9 * max(said, 1.0):
            faults.add(f"the last row is at {clock.last_us / 1e6:.6f} s, the report says {said} s")
        text = f"{clock.rows:,} rows, one every {clock.period_us / 1e3:g} ms"
        return Check(name="time", text=text, faults=faults.told())

    def _continuity(self) -> Check:
        use = self.continuity.worst
        text = f"lengths, speeds and accelerations belong to each other (worst {use.size:.0%} of the room)"
        return Check(name="continuity", text=text, faults=self.continuity.faults.told())

    def _limits(self) -> Check:
        return check_limits(self.limits, self.folder.report)

    def _path(self) -> list[Check]:
        tip, tilt, tools = self.follower.tip, self.follower.tilt, self.inputs.machine.tool_tip
        faults = (*self.suspects.told(), *self.lost.told(), *self.follower.faults.told())
        position = f"{tip.size:.6f} mm off the program at most (row {tip.row}, line {tip.line})"
        turned = f"{np.degrees(tilt.size):.6f} deg (row {tilt.row}, line {tilt.line})"
        allowed = f"{tools.corner_tolerance:g} mm and {np.degrees(tools.corner_tolerance_tilt):g} deg are allowed"
        return [Check(name="path", text=f"the tool is {position}, {turned}; {allowed} at corners", faults=faults)]

    def _ends(self) -> Check:
        ends = self.follower.ends
        text = f"starts and ends at rest, reaches every stop within {ends.size:.6f} mm (line {ends.line})"
        return Check(name="stops", text=text, faults=self.rest.told())

    def _events(self) -> Check:
        return self.happenings.finish(self.clock.rows)
