"""Run a job somewhere else on the pallet, and say how it does; in this process or in several."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import repeat
from types import MappingProxyType

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.model import AuditResult
from hexpost.kinematics.frames import invert, pose_from_matrix, pose_matrix
from hexpost.machine.model import Setup
from hexpost.pipeline import Files, Inputs, examine, load, schedule, understand
from hexpost.setup.model import Outcome, Spot

COARSE_SAMPLES = 4000
"""A coarse trial looks at about so many samples of a job."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What every trial shares: the files of the job, its schedule, and the period of coarse trials, s."""

    files: Files
    feed: str
    coarse: float


def run(trial: Trial, spot: Spot | None, *, exact: bool) -> Outcome:
    """Return how the job does at ``spot``, or where it stands; ``exact`` with the period of the machine file."""
    inputs = _inputs(trial.files)
    period = None if exact else trial.coarse
    setup = inputs.setup if spot is None else moved(inputs, spot)
    there = understand(inputs.program, inputs.machine, inputs.tools, setup, period, switches=trial.files.switches)
    return outcome(examine(schedule(there, trial.feed)))


def outcome(result: AuditResult) -> Outcome:
    """Return what an audit says, in one row."""
    worst = max(result.worst, key=lambda w: w.ratio, default=None)
    return Outcome(
        broken=result.findings.count + result.dropped,
        worst=0.0 if worst is None else worst.ratio,
        limit="" if worst is None else worst.limit,
        strut=0 if worst is None else worst.strut,
        line=0 if worst is None else worst.line,
        duration=result.duration,
    )


def first_offset(inputs: Inputs) -> str | None:
    """Return the first work offset in which the program moves, or ``None``."""
    moves = inputs.meaning.moves
    first = np.sort(np.unique(moves.frame, return_index=True)[1])
    names = (moves.frames[number].offset for number in moves.frame[first].tolist())
    return next((name for name in names if name != "G53"), None)


def spot_of(inputs: Inputs) -> Spot:
    """Return where the first work offset of the program stands now."""
    pose = inputs.setup.offsets.get(first_offset(inputs) or "", np.zeros(6))
    return Spot(x=float(pose[0]), y=float(pose[1]), z=float(pose[2]))


def moved(inputs: Inputs, spot: Spot) -> Setup:
    """Return the setup with the whole job moved to ``spot``: all work offsets it uses, as one body."""
    order = inputs.machine.tilt_order
    now = spot_of(inputs)
    shift = shift_matrix(now, spot, order)
    used = {f.offset for f in inputs.meaning.moves.frames} - {"G53"}
    offsets = dict(inputs.setup.offsets)
    for name in sorted(used):
        pose = offsets.get(name, np.zeros(6))
        offsets[name] = pose_from_matrix(shift @ pose_matrix(pose, order), order, near=pose)
    return replace(inputs.setup, offsets=MappingProxyType(offsets), given=True)


def shift_matrix(now: Spot, then: Spot, order: str) -> Array:
    """Return the motion (4, 4) in the pallet frame that carries a job from one spot to another."""
    zero = pose_matrix(np.array([now.x, now.y, now.z, 0.0, 0.0, now.turn]), order)
    return pose_matrix(np.array([then.x, then.y, then.z, 0.0, 0.0, then.turn]), order) @ invert(zero)


@contextmanager
def runner(trial: Trial, jobs: int) -> Iterator[Callable[[Sequence[Spot | None], bool], Iterator[Outcome]]]:
    """Yield what runs trials at many spots, in their order; on ``jobs`` processes where that is more than one."""
    if jobs <= 1:
        try:
            yield lambda spots, exact: (run(trial, spot, exact=exact) for spot in spots)
        finally:
            _inputs.cache_clear()
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    methods = multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
    with ProcessPoolExecutor(jobs, mp_context=context) as pool:
        yield lambda spots, exact: pool.map(partial(_task, trial), spots, repeat(exact))


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _task(trial: Trial, spot: Spot | None, exact: bool) -> Outcome:  # noqa: FBT001 - mapped over by a pool
    """Run a trial in a worker."""
    return run(trial, spot, exact=exact)


@lru_cache(maxsize=1)
def _inputs(files: Files) -> Inputs:
    """Return the inputs of a job; a worker reads them once."""
    return load(files)
