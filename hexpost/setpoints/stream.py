"""The samples of a job solved into struts, batch by batch, with what is made of each; on several processes."""

from collections.abc import Callable, Generator
from contextlib import closing
from itertools import count
from typing import TypeVar

from hexpost import shelf
from hexpost.feed.model import Timing
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.path.model import ToolPath
from hexpost.setpoints.model import Setpoints, YawProfile
from hexpost.setpoints.sample import Batch, batches, poses_of
from hexpost.setpoints.solve import Solver
from hexpost.setpoints.yaw import turned
from hexpost.workers.ordered import ordered

M = TypeVar("M")

BATCH = 8192
"""Samples that flow through solve, check and write at a time: their work arrays stay in the processor's cache."""

LET_GO = 16
"""Batches after which the pages of long columns that were looked at are let go."""


def stream(
    timing: Timing, path: ToolPath, moves: Moves, machine: Machine, *, yaw: YawProfile | None,
    make: Callable[[Setpoints], M], commands: bool, workers: int,
) -> Generator[tuple[Setpoints, M], None, None]:  # fmt: skip
    """Yield the batches of a job in order, each with what ``make`` makes of it; on so many workers. Close it.

    A batch is sampled, solved and made something of without any other; what runs across batches is put right in order.
    ``make`` runs in workers as well: it may change nothing that others see.
    """
    solver, started = Solver(machine, moves.frames, commands=commands), count()

    def work(batch: Batch) -> tuple[Setpoints, M]:
        if next(started) % LET_GO == 0:
            shelf.let_go()
        poses = turned(poses_of(timing, path, moves, batch), moves.frames, yaw, machine.tilt_order)
        setpoints = solver.alone(poses)
        return setpoints, make(setpoints)

    with closing(ordered(batches(timing, path, moves, BATCH), work, workers)) as found:
        for k, (setpoints, made) in enumerate(found):
            yield setpoints, (make(setpoints) if solver.join(setpoints) else made)
            if k % LET_GO == 0:
                shelf.let_go()
