"""Short jobs for tests of the schedule: moves, limits, dwells, and the motion that comes out, sample by sample."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.feed.plan import plan
from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import ARC, FEED_RAPID, FEED_TIP, LINE, Arcs, Events, Frame, Moves
from hexpost.path.build import build
from hexpost.setpoints.sample import sample

DEG = np.pi / 180
MACHINE = demonstration_machine()
FRAME = Frame(
    base_from_work=np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 640], [0, 0, 0, 1]]),
    tip=MACHINE.platform.gauge_point,
    offset="G54",
    tool=0,
    length_row=0,
    length=0.0,
)
"""Work zero at the tool tip in the reference pose, no tool."""
FAR = 1e9
"""A limit that is never felt."""


def machine(period=1e-3, **limits):
    """Return the demonstration machine with other tool-tip limits (mm, s, rad)."""
    return replace(MACHINE, period=period, tool_tip=replace(MACHINE.tool_tip, **limits))


def lines(points, feed=50.0, stop=False):
    """Return straight moves through ``points`` (6, n + 1); ``feed`` in mm/s, inf for rapids (which stop)."""
    points = np.asarray(points, dtype=float)
    n = points.shape[1] - 1
    feed = np.broadcast_to(feed, n).astype(float)
    stops = np.broadcast_to(stop, n) | np.isinf(feed)
    return Moves(
        kind=np.full(n, LINE, dtype=np.uint8),
        start=points[:, :-1].copy(),
        end=points[:, 1:].copy(),
        feed=feed,
        feed_mode=np.where(np.isinf(feed), FEED_RAPID, FEED_TIP).astype(np.uint8),
        stop=np.append(stops[:-1], True),
        frame=np.zeros(n, dtype=np.int32),
        line=np.arange(10, 10 * n + 10, 10, dtype=np.int32),
        arcs=Arcs(move=np.zeros(0, int), centre=np.zeros((3, 0)), axis=np.zeros(0, np.uint8), turn=np.zeros(0)),
        frames=(FRAME,),
    )


def along_x(length, feed=50.0):
    """Return one straight move of ``length`` mm."""
    return lines(np.array([[0.0, length], *[[0.0, 0.0]] * 5]), feed)


def circle(radius, turn, feed):
    """Return one arc about the origin in the plane of x and y, beginning on the x axis."""
    one = lines(np.array([[radius, radius * np.cos(turn)], [0.0, radius * np.sin(turn)], *[[0.0, 0.0]] * 4]), feed)
    arcs = Arcs(move=np.array([0]), centre=np.zeros((3, 1)), axis=np.array([2], dtype=np.uint8), turn=np.array([turn]))
    return replace(one, kind=np.array([ARC], dtype=np.uint8), arcs=arcs)


def pauses(move=(), seconds=()):
    """Return dwells after moves."""
    n = len(move)
    return Events(
        move=np.array(move, dtype=np.int64),
        rule=np.ones(n, dtype=np.uint8),
        letter=np.full(n, ord("G"), dtype=np.uint8),
        value=np.full(n, 4.0),
        pause=np.array(seconds, dtype=float),
        wait=np.zeros(n, dtype=bool),
        line=np.arange(5, 10 * n + 5, 10, dtype=np.int32),
    )


@dataclass(frozen=True)
class Run:
    """A planned job and all its samples, joined."""

    path: object
    timing: object
    batches: list
    period: float

    def __getattr__(self, name):
        return np.concatenate([getattr(b, name) for b in self.batches], axis=-1)


def run(moves, on=MACHINE, events=None, batch=8192):
    """Plan and sample a job."""
    path = build(moves, on)
    timing = plan(path, moves, events or pauses(), on)
    return Run(path=path, timing=timing, batches=list(sample(timing, path, moves, batch)), period=on.period)


def norm(x):
    """Return the norm of the tip's part (3, n)."""
    return np.sqrt((x[:3] ** 2).sum(axis=0))


def tilt(x):
    """Return the norm of the angles' part (3, n)."""
    return np.sqrt((x[3:] ** 2).sum(axis=0))
