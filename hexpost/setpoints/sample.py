"""The path at the control period: poses with their rates and accelerations, batch by batch."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from hexpost.arrays import Array, Ints, Lines
from hexpost.feed.model import Pauses, Timing
from hexpost.kinematics.turning import about_tool
from hexpost.moves.model import Frame, Moves
from hexpost.path.model import ToolPath, corners
from hexpost.setpoints.model import Poses, YawProfile


@dataclass(frozen=True, slots=True)
class Batch:
    """Consecutive samples in one frame: the ticks from ``first`` to ``last``."""

    first: int
    last: int
    frame: int


def sample(timing: Timing, path: ToolPath, moves: Moves, batch: int = 8192) -> Iterator[Poses]:
    """Yield the samples of a job, ticks 0 (at rest) to the last, at most ``batch`` at a time, each batch in one frame.

    A sample at the end of a span, and those of a dwell after it, belong to that span. ``move`` is -1 up to the
    start of the first span, ``line`` then that of the first move; in a dwell ``line`` is the dwell's. A corner
    belongs to the move that ends in it up to its vertex, then to the next. Rate and acceleration are exact
    derivatives: q' s' and q' s'' + q'' s'^2. A path without pieces has no samples.
    """
    return (poses_of(timing, path, moves, b) for b in batches(timing, path, moves, batch))


def batches(timing: Timing, path: ToolPath, moves: Moves, size: int) -> Iterator[Batch]:
    """Yield the batches of at most ``size`` samples that make up a job; each can be sampled alone."""
    spans = len(path.span_first) - 1
    if not spans:
        return
    frame = moves.frame[path.move[path.span_first[:-1]]]
    last = np.flatnonzero(np.append(frame[1:] != frame[:-1], True))  # last span of each run in one frame
    begin = np.concatenate([[0], timing.start[last[:-1] + 1] + 1])
    end = timing.start[last + 1]
    for lo, hi, number in zip(begin, end, frame[last], strict=True):
        for tick in range(int(lo), int(hi) + 1, size):
            yield Batch(tick, min(tick + size - 1, int(hi)), int(number))


def poses_of(timing: Timing, path: ToolPath, moves: Moves, batch: Batch) -> Poses:
    """Return the samples of a batch."""
    return poses_at(timing, path, moves, np.arange(batch.first, batch.last + 1), batch.frame)


def poses_at(timing: Timing, path: ToolPath, moves: Moves, tick: Ints | Array, frame: int) -> Poses:
    """Return the poses at rising times in ticks, which may be fractions, all in one frame."""
    motion = timing.motion(tick)
    place = timing.locate(path, motion)
    pose, rate, acceleration = path.evaluate(place.piece, place.u, 2)
    v = motion.speed
    acceleration *= v * v
    acceleration += rate * motion.acceleration
    rate *= v
    corner = corners(path.kind[place.piece])
    move = np.minimum(path.move_at(place.piece, place.u), moves.count - 1)
    line = _lines(tick, moves.line[move], timing.pauses)
    if tick[0] <= timing.start[0]:
        move[tick <= timing.start[0]] = -1
    return Poses(
        tick=cast("Ints", tick),
        move=move.astype(np.int64),
        line=line,
        span=motion.span,
        frame=frame,
        pose=pose,
        rate=rate,
        acceleration=acceleration,
        corner=corner.astype(np.int64),
    )


def _lines(tick: Ints | Array, line: Lines, pauses: Pauses) -> Lines:
    """Return the lines with those of dwells put in."""
    if not len(pauses.end) or tick[-1] <= pauses.start[0] or tick[0] > pauses.end[-1]:
        return line
    k = np.minimum(np.searchsorted(pauses.end, tick), len(pauses.end) - 1)
    out: Lines = np.where((tick > pauses.start[k]) & (tick <= pauses.end[k]), pauses.line[k], line)
    return out


def turned(poses: Poses, frames: Sequence[Frame], profile: YawProfile | None, order: str) -> Poses:
    """Return the poses of the platform itself: those of the tool turned about it by the yaw."""
    constant = frames[poses.frame].yaw
    if profile is None and constant == 0.0:
        return poses
    n = len(poses.tick)
    yaw, speed, growth = (np.zeros(n), np.zeros(n), np.zeros(n)) if profile is None else profile.at(poses.tick)
    motion = (poses.pose, poses.rate, poses.acceleration)
    pose, rate, acceleration = about_tool(motion, (yaw + constant, speed, growth), order)
    return replace(poses, pose=pose, rate=rate, acceleration=acceleration)
