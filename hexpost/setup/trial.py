"""Run a job somewhere else on the pallet, and say how it does; in this process or in a worker."""

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.model import AuditResult
from hexpost.errors import HexpostError
from hexpost.kinematics.frames import invert, pose_from_matrix, pose_matrix
from hexpost.machine.model import Setup
from hexpost.pipeline import ALL_LIMITS, Checking, Files, Inputs, examine, load, schedule, understand
from hexpost.setup.model import Outcome, Spot

COARSE_SAMPLES = 4000
"""A coarse trial looks at about so many samples of a job."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What every trial shares: the files of the job, its schedule, the coarse period [s], and what is checked.

    A worker finds the files from ``folder``, and refuses those that have another ``digest``.
    """

    files: Files
    feed: str
    coarse: float
    folder: str
    digest: str
    checking: Checking = ALL_LIMITS


def run(trial: Trial, spot: Spot | None, *, exact: bool) -> Outcome:
    """Return how the job does at ``spot``, or where it stands; ``exact`` with the period of the machine file."""
    inputs = inputs_of(trial)
    period = None if exact else trial.coarse
    setup = inputs.setup if spot is None else moved(inputs, spot)
    there = understand(inputs.program, inputs.machine, inputs.tools, setup, period, switches=trial.files.switches)
    return outcome(examine(schedule(replace(there, checking=trial.checking), trial.feed)))


def outcome(result: AuditResult) -> Outcome:
    """Return what an audit says, in one row."""
    worst = max(result.worst, key=lambda w: w.ratio, default=None)
    return Outcome(
        broken=result.total,
        worst=0.0 if worst is None else worst.ratio,
        limit="" if worst is None else worst.limit.name,
        strut=0 if worst is None else worst.strut,
        line=0 if worst is None else worst.line,
        duration=result.duration,
        unseen=result.unseen,
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


def digest_of(inputs: Inputs) -> str:
    """Return a SHA-256 of the bytes of all files of a job."""
    sources = (inputs.program.source, inputs.machine.source, inputs.tools.source, inputs.setup.source)
    return hashlib.sha256("".join(hashlib.sha256(s).hexdigest() for s in sources).encode()).hexdigest()


@lru_cache(maxsize=1)
def inputs_of(trial: Trial) -> Inputs:
    """Return the inputs of a job; a worker reads them once.

    Raises
    ------
    HexpostError
        They are not what they were when the search began.
    """
    files = trial.files
    machine, tools, setup = (p and Path(trial.folder, p) for p in (files.machine, files.tools, files.setup))
    program = Path(trial.folder, files.program)
    inputs = load(replace(files, program=program, machine=machine, tools=tools, setup=setup))
    if digest_of(inputs) != trial.digest:
        raise HexpostError(f"{files.program}: one of its files has changed since the search began")
    return replace(inputs, program=replace(inputs.program, name=str(files.program)))
