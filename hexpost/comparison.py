"""The same program on an ordinary machine: time by operation and by block, there and here.

An axis is taken to follow its own word, as if the tip stood still when the tool turns: rotary axes that carry the tip
make the linear ones do more. Path, corners and feeds are those of the program, the limits those of the axes.
"""

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.errors import Fault, InputError
from hexpost.feed.model import Timing
from hexpost.feed.task import STRUT_LIMITED
from hexpost.machine.ordinary import LETTERS, OrdinaryMachine
from hexpost.motion import motion
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.path.build import build
from hexpost.path.model import ToolPath
from hexpost.pipeline import Job
from hexpost.report.against import HereAndThere, Operations
from hexpost.report.beside import beside
from hexpost.shelf import column, windows


def compared_with(job: Job, other: OrdinaryMachine) -> HereAndThere:
    """Return the time that a job and the same program on an ordinary machine take.

    Raises
    ------
    InputError
        The program turns an axis that the other machine does not have, or was written for rotary axes of its own.
    """
    inputs, moves, events = job.inputs, job.inputs.meaning.moves, job.inputs.meaning.events
    _check_axes(job, other)
    there = other.planned(inputs.machine)
    path, timing = motion(build(moves, there), moves, events, there, STRUT_LIMITED)
    seconds = np.stack([move_seconds(moves, job.path, job.timing), move_seconds(moves, path, timing)])
    line, back = np.unique(moves.line, return_inverse=True)
    return HereAndThere(
        name=other.name,
        file=other.file,
        duration=timing.ticks * timing.period,
        beside=beside(events, other.times),
        operations=_operations(moves, seconds),
        line=line.astype(np.int64),
        blocks=np.stack([np.bincount(back, row, len(line)) for row in seconds]),
    )


def _check_axes(job: Job, other: OrdinaryMachine) -> None:
    """Refuse what cannot be compared: axes that are not there, rotary words that say something else."""
    moves, name = job.inputs.meaning.moves, job.inputs.program.name
    faults = []
    for k, letter in enumerate(LETTERS):
        if other.axes[k] is None and (at := _first(moves, k)) is not None:
            what = f"this block turns {letter}, and {other.file} has no axis.{letter}"
            hint = f"add [axis.{letter}], or compare a program that does not turn it"
            faults.append(Fault(file=name, line=at or None, what=what, code="axis-missing", hint=hint))
    if faults:
        raise InputError(faults)
    turned = next((at for k in (3, 4, 5) if (at := _first(moves, k)) is not None), None)
    if job.inputs.machine.programmed_axes is not None and turned is not None:
        what = (
            "this program turns rotary axes of another machine ([programmed_axes]); these are not A B C about the tip"
        )
        hint = "leave --compare-with out: it knows programs of X Y Z, or with A B C about the tip"
        raise InputError([Fault(file=name, line=turned or None, what=what, code="not-compared", hint=hint)])


def _first(moves: Moves, k: int) -> int | None:
    """Return the line of the first move along coordinate ``k``, or ``None``."""
    for part in windows(moves.count):
        at = np.flatnonzero(moves.start[k, part] != moves.end[k, part])
        if at.size:
            return int(moves.line[part][at[0]])
    return None


def move_seconds(moves: Moves, path: ToolPath, timing: Timing) -> Array:
    """Return the time [s] of every move (n,), without the dwells between; in whole control periods."""
    out: Array = column((moves.count,), np.float64)
    pauses = timing.pauses
    rested = np.concatenate([[0], np.cumsum(pauses.end - pauses.start)])
    before = 0
    for part in windows(moves.count):
        tick: Ints = timing.end_ticks(path, np.arange(part.start, part.stop))
        tick = tick - rested[np.searchsorted(pauses.start, tick)]
        out[part] = np.diff(tick, prepend=before) * timing.period
        before = int(tick[-1])
    return out


def _operations(moves: Moves, seconds: Array) -> Operations:
    """Return the times of operations: from rapid to rapid, with the rapids that lead there; those of one block as one.

    What comes after the last feed move is one of its own.
    """
    rapid: Flags = moves.feed_mode == FEED_RAPID
    begins = np.flatnonzero(np.append(False, ~rapid[:-1]) & rapid) if moves.count else np.zeros(0, dtype=np.int64)
    first = np.concatenate([[0], begins]).astype(np.int64)
    last = np.append(first[1:], moves.count) - 1
    feed = _first_feed(rapid, first)
    from_line, to_line = moves.line[np.minimum(feed, last)].astype(np.int64), moves.line[last].astype(np.int64)
    tool = np.array([f.tool for f in moves.frames], dtype=np.int64)[moves.frame[last]]
    alone = from_line == to_line
    again = alone[1:] & alone[:-1] & (from_line[1:] == from_line[:-1]) & (tool[1:] == tool[:-1])
    kept = np.flatnonzero(np.append(True, ~again))
    ends = np.append(kept[1:], len(first)) - 1
    return Operations(
        first_line=from_line[kept],
        last_line=to_line[ends],
        tool=tool[kept],
        cuts=(feed <= last)[kept],
        seconds=np.add.reduceat(seconds, first[kept], axis=1),
    )


def _first_feed(rapid: Flags, first: Ints) -> Ints:
    """Return the first feed move at or behind each of some moves (k,); the number of moves where there is none."""
    feeds = np.append(np.flatnonzero(~rapid), len(rapid))
    out: Ints = feeds[np.searchsorted(feeds, first)]
    return out
