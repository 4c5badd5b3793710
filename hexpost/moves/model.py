"""What the interpreter hands on: moves and events as columns, and the frames they are written in."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines

LINE, ARC = 0, 1
"""Kinds of move: a straight line in six coordinates; an arc or helix of the tip, rotary words linear along it."""

FEED_TIP, FEED_TILT, FEED_INVERSE, FEED_RAPID = 0, 1, 2, 3
"""How ``feed`` is meant: tip speed in mm/s; tilt speed in rad/s (pure rotations); 1/s (the whole move lasts
1/feed seconds); as fast as the tool-tip limits allow (feed is inf)."""

WITH, AFTER = 0, 1
"""When an event takes effect: with the start of its move, or after the end of its move."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Switches:
    """The operator's switches: M01 stops (or is passed over); blocks that begin with ``/`` are skipped (or run)."""

    stops: bool = True
    skip: bool = False


USUAL = Switches()
"""How the switches stand when nobody has touched them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """The coordinates a run of moves is written in.

    ``base_from_work`` (4, 4): the work frame (or the machine frame) in the base frame. ``tip`` (3,): the programmed
    point in the platform frame (gauge point, moved along -z by the active tool length).
    ``offset`` names the frame: ``"G54"`` ..., or ``"G53"`` for machine coordinates. ``tool`` is the tool in the
    spindle (0: none), ``length_row`` the row H of the active length offset (0: none), ``length`` its length. ``yaw``
    [rad]: the platform is turned by it about the axis of the tool, against the orientation that the moves say.
    """

    base_from_work: Array
    tip: Array
    offset: str
    tool: int
    length_row: int
    length: float
    yaw: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Arcs(Columns):
    """The arcs among the moves, shape (k,): index of the move (rising), centre (3, k), axis, turn.

    ``axis`` is the normal of the plane (0 X, 1 Y, 2 Z); ``turn`` in rad is signed, right-hand about that axis, and
    may be more than one turn. The end radius may differ from the start radius by the arc tolerance.
    """

    move: Ints
    centre: Array
    axis: Codes
    turn: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moves(Columns):
    """Motion as columns, shape (n,) or (6, n): x y z in mm and a b c in rad in the move's frame.

    ``start`` of a move is the end of the one before, seen in the frame of this move. ``feed`` and ``feed_mode`` as
    above. ``stop``: the tool comes to rest at the end of this move (exact stop, rapid, change of frame,
    stop word, dwell, last move). ``frame`` indexes ``frames``. ``line`` is the line of the program, from 1.
    No move has zero length (arcs with equal ends turn).
    """

    kind: Codes
    start: Array
    end: Array
    feed: Array
    feed_mode: Codes
    stop: Flags
    frame: Lines
    line: Lines
    arcs: Arcs
    frames: tuple[Frame, ...]

    @property
    def count(self) -> int:
        """Return the number of moves."""
        return len(self.kind)

    def part(self, low: int, high: int) -> "Moves":
        """Return moves ``low`` to ``high`` (left out); columns are views."""
        a, b = (int(k) for k in np.searchsorted(self.arcs.move, (low, high)))
        arcs = self.arcs.take(slice(a, b), move=self.arcs.move[a:b] - low)
        return self.take(slice(low, high), arcs=arcs)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Events(Columns):
    """What happens beside the motion, in the order of the program, shape (e,).

    ``move``: the move the event belongs to; -1 before the first. ``rule``: ``WITH`` or ``AFTER``. ``letter`` and
    ``value``: the word (``M`` 8, ``S`` 1200, ``T`` 5, ``G`` 4 for a dwell). ``pause``: seconds the tool rests
    (dwell), else 0. ``wait``: the controller must wait (program stops, tool change, end). ``line`` from 1.
    """

    move: Ints
    rule: Codes
    letter: Codes
    value: Array
    pause: Array
    wait: Flags
    line: Lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something the interpreter noticed that the report must say: which words, where first, how often."""

    line: int
    text: str
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interpretation:
    """The meaning of a program: moves, events, the readings used where a standard is open, what was ignored.

    ``start`` (6,): where the job starts, x y z a b c of the gauge point in the base frame.
    """

    moves: Moves
    events: Events
    start: Array
    readings: tuple[str, ...]
    ignored: tuple[Remark, ...]
