"""Solve poses into strut setpoints, batch by batch; a whole job on several processes."""

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from itertools import count
from typing import Protocol, TypeVar

import numpy as np

from hexpost import shelf
from hexpost.arrays import Array, Flags, Ints, among, distinct
from hexpost.feed.model import Timing
from hexpost.kinematics.links import links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine
from hexpost.moves.model import Frame, Moves
from hexpost.path.model import ToolPath
from hexpost.setpoints.command import Commands, gearing, has_commands, has_screws, makes_up
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.elastic import Elastic, changes
from hexpost.setpoints.model import Poses, Setpoints, YawProfile
from hexpost.setpoints.sample import Batch, batches, poses_at, poses_of, turned
from hexpost.workers.ordered import ordered


class Solver:
    """Solves batches of one job: ``alone`` in any order, then ``join`` in the order of time; ``solve`` does both.

    What runs across batches is remembered: the last acceleration for the jerk, the last twist for the commands.

    ``commands``: whether to work out what the drives follow, where that is more than the lengths; ``cutting``: the
    force on the tool, where it is known.
    """

    def __init__(
        self, machine: Machine, frames: Sequence[Frame], *, commands: bool = True, cutting: Cutting | None = None
    ) -> None:
        self._model = StrutModel(machine)
        self._period = machine.period
        self._frames = frames
        self._struts: LastAnswer[int, Struts] = LastAnswer()
        self._last: Array | None = None
        self._gearing = gearing(machine)
        self._loaded = any(s.screw for s in machine.struts)
        self._follows = commands and has_commands(machine)
        self._commands = Commands(machine) if self._follows and has_screws(machine) else None
        self._elastic = Elastic(machine, frames, cutting) if makes_up(machine) else None
        self._bent: Array | None = None

    def solve(self, poses: Poses) -> Setpoints:
        """Return lengths, speeds, accelerations and mean jerks (6, n) of the next batch.

        The jerk of a sample is the change of acceleration since the sample before, over the period; 0 at the first.
        """
        setpoints = self.alone(poses)
        self.join(setpoints)
        return setpoints

    def join(self, setpoints: Setpoints) -> bool:
        """Put right what depends on the batch before; return whether that was more than its first jerk."""
        acceleration = setpoints.acceleration
        if acceleration.size:
            if self._last is not None:
                setpoints.jerk[:, 0] = (acceleration[:, 0] - self._last) * (1.0 / self._period)
            self._last = acceleration[:, -1].copy()
            self._creep(setpoints)
        if self._commands is None or setpoints.command is None or setpoints.twist is None:
            return False
        return self._commands.join(setpoints.command, setpoints.twist)

    def alone(self, poses: Poses) -> Setpoints:
        """Return a batch as if none came before it: the jerk of its first sample is 0, twists are its own."""
        frame = self._frames[poses.frame]
        struts = self._struts.of(poses.frame, lambda: self._model.in_frame(frame.base_from_work, frame.tip))
        q = [poses.pose, poses.rate, poses.acceleration]
        (length, speed, acceleration), turned = (
            struts.derivatives_and_turned(q) if self._loaded else (struts.derivatives(q), None)
        )
        jerk: Array = np.empty_like(acceleration)
        np.subtract(acceleration[:, 1:], acceleration[:, :-1], out=jerk[:, 1:])
        jerk[:, :1] = 0.0
        jerk *= 1.0 / self._period
        at = links(struts, poses.pose, length) if self._commands else None
        out = Setpoints(
            poses=poses, period=self._period, length=length, speed=speed, acceleration=acceleration, jerk=jerk,
            gearing=self._gearing, links=at, turned=turned,
        )  # fmt: skip
        if self._elastic is not None:
            bent = self._elastic.of(out, struts)
            out = replace(out, compensation=bent, creep=changes(bent, self._period))
        if self._commands and at:
            command, twist = self._commands.of(at, frame.base_from_work)
            if out.compensation is not None:
                command += out.compensation
            return replace(out, command=command, twist=twist)
        return replace(out, command=out.driven_length) if self._follows else out

    def _creep(self, setpoints: Setpoints) -> None:
        """Put right how fast the compensation grew before the first sample of the next batch."""
        if setpoints.compensation is None or setpoints.creep is None:
            return
        if self._bent is not None:
            setpoints.creep[:, 0] = (setpoints.compensation[:, 0] - self._bent) * (1.0 / self._period)
        self._bent = setpoints.compensation[:, -1].copy()


M = TypeVar("M")


class Writers(Protocol[M]):
    """What takes the samples of a job beside the audit, with what drives follow.

    ``jerks``: what it makes of a batch tells the jerk of its first sample, too, which the batch before decides.
    """

    @property
    def jerks(self) -> bool:
        """Return whether it is made again where the batch before has changed anything."""

    def make(self, setpoints: Setpoints) -> M:
        """Return what is to be added of a batch; in any process and any order."""

    def add(self, setpoints: Setpoints, made: M) -> None:
        """Take the next batch, and what was made of it."""


BATCH = 8192
"""Samples that flow through solve, check and write at a time: their work arrays stay in the processor's cache."""

LET_GO = 16
"""Batches after which the pages of long columns that were looked at are let go."""


def stream(
    timing: Timing, path: ToolPath, moves: Moves, machine: Machine, *, yaw: YawProfile | None,
    make: Callable[[Setpoints], M], commands: bool, workers: int, cutting: Cutting | None = None, jerks: bool = False,
) -> Generator[tuple[Setpoints, M], None, None]:  # fmt: skip
    """Yield the batches of a job in order, each with what ``make`` makes of it; on so many workers. Close it.

    A batch is sampled, solved and made something of without any other; what runs across batches is put right in order.
    ``make`` runs in workers as well: it may change nothing that others see. ``jerks``: it looks at first jerks.
    """
    solver, started = Solver(machine, moves.frames, commands=commands, cutting=cutting), count()

    def work(batch: Batch) -> tuple[Setpoints, M]:
        if next(started) % LET_GO == 0:
            shelf.let_go()
        poses = turned(poses_of(timing, path, moves, batch), moves.frames, yaw, machine.tilt_order)
        setpoints = solver.alone(poses)
        return setpoints, make(setpoints)

    with closing(ordered(batches(timing, path, moves, BATCH), work, workers)) as found:
        for k, (setpoints, made) in enumerate(found):
            changed = solver.join(setpoints)
            yield setpoints, (make(setpoints) if changed or jerks else made)
            if k % LET_GO == 0:
                shelf.let_go()


def at_ticks(
    timing: Timing,
    path: ToolPath,
    moves: Moves,
    machine: Machine,
    *,
    yaw: YawProfile | None,
    tick: Ints,
    cutting: Cutting | None = None,
) -> Iterator[tuple[Setpoints, Flags]]:
    """Yield the samples at rising ticks (n,), near ones of one frame together, and which of them were asked for.

    The sample before each one is there, too, so that its jerk is that of the job; a change of frame is at rest.
    """
    solver = Solver(machine, moves.frames, commands=False, cutting=cutting)
    for batch in batches(timing, path, moves, BATCH):
        a, b = np.searchsorted(tick, (batch.first, batch.last + 1))
        if a < b:
            both = distinct(np.maximum(np.concatenate([tick[a:b], tick[a:b] - 1]), 0))
            poses = poses_at(timing, path, moves, both, batch.frame)
            poses = turned(poses, moves.frames, yaw, machine.tilt_order)
            yield solver.alone(poses), among(both, tick[a:b])
