"""Small jobs for the tests of the audit: moves, frames and setpoints without a reader, a path or a schedule."""

from itertools import pairwise

import numpy as np

from hexpost.audit.audit import Audit
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import demonstration_machine, no_tools
from hexpost.moves.model import FEED_TIP, LINE, Arcs, Events, Frame, Interpretation, Moves
from hexpost.program.model import Program
from hexpost.setpoints.model import Poses, Setpoints
from hexpost.voice import advice

MACHINE = demonstration_machine()
PERIOD = MACHINE.period
TOOL = 120.0


def frame(offset="G54", tool=1, row=1, length=TOOL, base_from_work=None):
    """Return the pallet frame (or another one) with a tool of ``length``."""
    place = pose_matrix(MACHINE.pallet.pose, MACHINE.tilt_order) if base_from_work is None else base_from_work
    tip = MACHINE.platform.gauge_point - np.array([0.0, 0.0, length])
    return Frame(base_from_work=place, tip=tip, offset=offset, tool=tool, length_row=row, length=length)


def moves(n=1, mode=FEED_TIP, frames=None, of=None, start=None, end=None):
    """Return ``n`` straight moves on lines 10, 20, 30 ...; ``of`` says which frame each one is in."""
    none = np.zeros((6, n))
    return Moves(
        kind=np.full(n, LINE, dtype=np.uint8),
        start=none if start is None else np.asarray(start, dtype=float),
        end=none if end is None else np.asarray(end, dtype=float),
        feed=np.full(n, 100.0),
        feed_mode=np.broadcast_to(np.asarray(mode, dtype=np.uint8), (n,)).copy(),
        stop=np.zeros(n, dtype=bool),
        frame=np.zeros(n, dtype=np.int32) if of is None else np.asarray(of, dtype=np.int32),
        line=np.arange(1, n + 1, dtype=np.int32) * 10,
        arcs=Arcs(
            move=np.zeros(0, dtype=np.int64),
            centre=np.zeros((3, 0)),
            axis=np.zeros(0, dtype=np.uint8),
            turn=np.zeros(0),
        ),
        frames=(frame(),) if frames is None else tuple(frames),
    )


def program(lines=200):
    """Return a program whose every block is ``G01 X1``."""
    text = b"G01 X1\n" * lines
    none = np.zeros(0)
    return Program(
        name="p.nc",
        source=text,
        letter=none.astype(np.uint8),
        value=none,
        pointed=none.astype(bool),
        line=none.astype(np.int32),
        column=none.astype(np.int32),
        first=np.zeros(lines + 1, dtype=np.int64),
        skip=none.astype(np.int32),
        comment_line=none.astype(np.int32),
        comment_start=none.astype(np.int64),
        comment_end=none.astype(np.int64),
        line_start=np.arange(lines + 1, dtype=np.int64) * 7,
    )


def audit(job_moves, tools=None, machine=MACHINE, schedule=None):
    """Return an audit of a job."""
    none = np.zeros(0, dtype=np.int64)
    events = Events(
        move=none,
        rule=none.astype(np.uint8),
        letter=none.astype(np.uint8),
        value=none.astype(float),
        pause=none.astype(float),
        wait=none.astype(bool),
        line=none.astype(np.int32),
    )
    meaning = Interpretation(moves=job_moves, events=events, start=MACHINE.machine_zero, readings=(), ignored=())
    return Audit(machine, no_tools() if tools is None else tools, meaning, program(), schedule=schedule)


def rest(n, move=None, line=None, tick=0):
    """Return ``n`` samples above the middle of the pallet, struts in mid-stroke and still; arrays may be written."""
    pose = np.zeros((6, n))
    pose[2] = 150.0
    mid = np.array([sum(s.stroke) / 2.0 for s in MACHINE.struts])
    move = np.zeros(n, dtype=np.int64) if move is None else np.asarray(move)
    poses = Poses(
        tick=np.arange(tick, tick + n),
        move=move,
        line=((move + 1) * 10).astype(np.int32) if line is None else np.asarray(line, dtype=np.int32),
        span=np.zeros(n, dtype=np.int64),
        frame=0,
        pose=pose,
        rate=np.zeros((6, n)),
        acceleration=np.zeros((6, n)),
        corner=np.zeros(n, dtype=np.int64),
    )
    return Setpoints(
        poses=poses,
        period=PERIOD,
        length=np.repeat(mid[:, None], n, axis=1),
        speed=np.zeros((6, n)),
        acceleration=np.zeros((6, n)),
        jerk=np.zeros((6, n)),
    )


def solved(pose, rate, bend, job_moves, move=None, period=PERIOD, machine=MACHINE):
    """Return the setpoints of a motion given by poses and their derivatives (6, n), solved by the strut model."""
    n = pose.shape[1]
    f = job_moves.frames[0]
    struts = StrutModel(machine).in_frame(f.base_from_work, f.tip)
    length, speed, acceleration = struts.derivatives([pose, rate, bend])
    move = np.zeros(n, dtype=np.int64) if move is None else np.asarray(move)
    poses = Poses(
        tick=np.arange(n),
        move=move,
        line=job_moves.line[move],
        span=np.zeros(n, dtype=np.int64),
        frame=0,
        pose=pose,
        rate=rate,
        acceleration=bend,
        corner=np.zeros(n, dtype=np.int64),
    )
    jerk = np.diff(acceleration, axis=1, prepend=acceleration[:, :1]) / period
    return Setpoints(poses=poses, period=period, length=length, speed=speed, acceleration=acceleration, jerk=jerk)


def cut(setpoints, at):
    """Yield the blocks of ``setpoints`` between the samples ``at``."""
    edges = [0, *sorted(set(at)), len(setpoints.poses.tick)]
    for a, b in pairwise(edges):
        if a == b:
            continue
        part = {}
        for name in ("length", "speed", "acceleration", "jerk"):
            part[name] = getattr(setpoints, name)[:, a:b]
        p = setpoints.poses
        poses = Poses(
            tick=p.tick[a:b],
            move=p.move[a:b],
            line=p.line[a:b],
            span=p.span[a:b],
            frame=p.frame,
            pose=p.pose[:, a:b],
            rate=p.rate[:, a:b],
            acceleration=p.acceleration[:, a:b],
            corner=p.corner[a:b],
        )
        yield Setpoints(poses=poses, period=setpoints.period, **part)


def run(job_moves, setpoints, at=(), tools=None, machine=MACHINE):
    """Return the result of auditing ``setpoints`` cut into blocks."""
    a = audit(job_moves, tools, machine)
    for block in cut(setpoints, at):
        a.add(block)
    return a.finish()


def words(findings, i):
    """Return the advice of finding ``i``."""
    return advice(findings.row(i))


def listed(result):
    """Return the findings as tuples: limit, strut, line, first tick, last tick, peak, allowed."""
    from hexpost.audit.model import LIMITS

    f = result.findings
    ticks = np.round(np.stack([f.time, f.until]) / PERIOD).astype(int)
    return [
        (LIMITS[f.limit[i]].name, int(f.strut[i]), int(f.line[i]), ticks[0, i], ticks[1, i], f.peak[i], f.allowed[i])
        for i in range(f.count)
    ]
