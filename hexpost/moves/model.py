"""What the interpreter hands on: moves and events as columns, and the frames they are written in."""

from dataclasses import dataclass, field, fields

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines, among
from hexpost.machine.beside import time_beside
from hexpost.machine.feed_caps import FeedCap
from hexpost.machine.words import ENDING, SPINDLE_OFF, SPINDLE_ON, SPINDLE_ORIENTED, code_word
from hexpost.moves.cut import RestartPoint
from hexpost.shelf import windows
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

LINE, ARC = 0, 1
"""Kinds of move: a straight line in six coordinates; an arc or helix of the tip, rotary words linear along it."""

FEED_TIP, FEED_TILT, FEED_INVERSE, FEED_RAPID = 0, 1, 2, 3
"""How ``feed`` is meant: tip speed, mm/s; tilt speed, rad/s; whole moves a second, 1/s; tool-tip limits (inf)."""

HOME, PECK, FIRST_FEED = 1, 2, -1  # the last: line of the F of a program without any
F_PER_MINUTE, F_PER_REVOLUTION, F_INVERSE = 0, 1, 2
"""How F is written: a minute, a revolution of the spindle, or the inverse of the minutes of a block."""

AS_BEFORE, AT_REST, TURNS, ORIENTED = 0, 1, 2, 3
"""What an event does to the spindle: nothing, stop, turn, stop at a fixed angle."""

WITH, AFTER = 0, 1
"""When an event takes effect: with the start of its move, or after the end of its move."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Switches:
    """The operator's switches: M01 stops (or is passed over); blocks that begin with ``/`` are skipped (or run).

    ``at_most``: feeds that are not passed in some lines. ``calm``: averages are as long as whole periods of the lowest
    mode. ``effort``: planning takes what it takes.
    """

    stops: bool = True
    skip: bool = False
    at_most: tuple[FeedCap, ...] = ()
    calm: bool = False
    effort: bool = False


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
    ``value``: the word (``M`` 8, ``S`` 1200, ``T`` 5, ``G`` 4 for a dwell); others ask the properties what it says.
    ``pause``: seconds the tool rests (dwell), else 0. ``wait``: the controller must wait (program stops, tool change,
    end). ``line`` from 1.
    """

    move: Ints
    rule: Codes
    letter: Codes
    value: Array
    pause: Array
    wait: Flags
    line: Lines

    @property
    def spindle(self) -> Codes:
        """Return what becomes of the spindle (e,): ``AS_BEFORE``, ``AT_REST``, ``TURNS`` or ``ORIENTED``."""
        out = np.full(len(self.move), AS_BEFORE, dtype=np.uint8)
        coded = self.letter == ord("M")
        for codes, meant in ((SPINDLE_ON, TURNS), (SPINDLE_OFF, AT_REST), (SPINDLE_ORIENTED, ORIENTED)):
            out[coded & among(self.value, codes)] = meant
        return out

    @property
    def beside(self) -> Codes:
        """Return what each event (e,) takes time for beside the motion, in the codes of ``machine.beside``."""
        return time_beside(self.letter, self.value)

    @property
    def speed(self) -> Array:
        """Return the spindle speed (e,) that is set, 1/min; nan where none is."""
        return np.where(self.letter == ord("S"), self.value, np.nan)

    @property
    def ends(self) -> Flags:
        """Return which events (e,) end the program."""
        return np.where(self.letter == ord("M"), among(self.value, ENDING), np.False_)

    @property
    def kinds(self) -> Array:
        """Return two numbers (2, e) that are alike for equal words."""
        return np.stack((self.letter.astype(np.float64), self.value))

    def word(self, i: int) -> str:
        """Return the word of an event as tables show it: ``M8``."""
        return f"{chr(int(self.letter[i]))}{float(self.value[i]):.15g}"

    def name(self, i: int) -> str:
        """Return the word of an event as people write it: ``M08``."""
        word = code_word(chr(int(self.letter[i])), float(self.value[i]))
        return word.name if word else self.word(i)

    def means(self, i: int) -> str:
        """Return what the word of an event means."""
        word = code_word(letter := chr(int(self.letter[i])), float(self.value[i]))
        return word.does if word else {"S": "spindle speed", "T": "tool for the next M06"}.get(letter, "")


@dataclass(frozen=True, slots=True, eq=False)
class Modal(Columns):
    """A value that stays in force over runs of moves: ``first`` (r,) is the first move of each run, rising from 0.

    ``value`` (r,) is what is in force there, as float64. Most programs are a few runs, which take no memory.
    """

    first: Ints
    value: Array

    def at(self, moves: Ints) -> Array:
        """Return the value (k,) in force at moves (k,)."""
        return self.value[self.run(moves)]

    def run(self, moves: Ints) -> Ints:
        """Return in which run (k,) moves (k,) are."""
        return np.searchsorted(self.first, moves, side="right") - 1

    def moved(self, to: Ints) -> "Modal":
        """Return the runs where move ``k`` has become ``to[k]`` (n,), rising, and the one after the last ``to[n]``."""
        first = to[np.minimum(self.first, len(to) - 1)]
        first[:1] = 0
        last = np.append(first[1:] > first[:-1], True)[: len(first)]
        return Modal(first, self.value).take(last)


def always(value: float) -> Modal:
    """Return what is in force over a whole program."""
    return Modal(np.zeros(1, np.int64), np.array([value], dtype=np.float64))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Written:
    """How a program writes its feeds, by run of moves; dialect words, G70 and default units are settled.

    ``scale``: millimetres of its unit of length (25.4 or 1). ``mode``: ``F_PER_MINUTE``, ``F_PER_REVOLUTION`` or
    ``F_INVERSE``. ``tapping``: 1 in a right-hand thread, -1 in a left-hand one. ``led``: ``HOME`` in reference
    returns, ``PECK`` back into a hole. ``feed``: the F in force as read, nan for none (and under ``F_INVERSE``).
    ``line``: the line whose F word that is, 0 where the block has its own, ``FIRST_FEED`` where there is none.
    """

    scale: Modal = field(default_factory=lambda: always(1.0))
    mode: Modal = field(default_factory=lambda: always(F_PER_MINUTE))
    tapping: Modal = field(default_factory=lambda: always(0.0))
    led: Modal = field(default_factory=lambda: always(0.0))
    feed: Modal = field(default_factory=lambda: always(np.nan))
    line: Modal = field(default_factory=lambda: always(0.0))

    def moved(self, to: Ints) -> "Written":
        """Return the same where move ``k`` has become ``to[k]``; see ``Modal.moved``."""
        return Written(**{f.name: getattr(self, f.name).moved(to) for f in fields(self)})

    def of_lines(self, moves: Moves, lines: Ints) -> "Feeds":
        """Return how the F words of ``lines`` (k,) are written."""
        wanted, back = np.unique(lines, return_inverse=True)
        least, most = np.full((3, len(wanted)), np.inf), np.full((3, len(wanted)), -np.inf)
        for w in windows(moves.count):
            at = w.start + np.flatnonzero((moves.feed_mode[w] != FEED_RAPID) & among(moves.line[w], wanted))
            place = np.searchsorted(wanted, moves.line[at])
            words = np.nan_to_num(self.per_speed(moves, at), nan=np.inf)
            for row, column in enumerate((self.scale.at(at), self.mode.at(at), words)):
                np.minimum.at(least[row], place, column)
                np.maximum.at(most[row], place, column)
        known = np.isfinite(most)
        same = known & (np.where(known, most, 0.0) <= np.where(known, least, 0.0) * (1.0 + SAME_WORD))
        scale, mode, share = np.where(same, most, np.nan)[:, back]
        return Feeds(scale=scale, mode=np.nan_to_num(mode, nan=-1.0).astype(np.int64), per_speed=share)

    def per_speed(self, moves: Moves, at: Ints) -> Array:
        """Return F per mm/min of tip speed (deg/min of pure rotations) of feed moves ``at`` (k,), nan for none."""
        speed = moves.feed[at] * SECONDS_PER_MINUTE * np.where(moves.feed_mode[at] == FEED_TILT, DEG_PER_RAD, 1.0)
        return self.feed.at(at) / np.where(moves.feed_mode[at] == FEED_INVERSE, np.nan, speed)


SAME_WORD = 1e-9
"""Relative difference of two feeds that one F word means."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Feeds:
    """How the F words of lines are written, shape (k,): unit of length [mm], mode, F per mm/min (or deg/min).

    The F word for a tip speed of v mm/min (pure rotations: v deg/min) is ``v * per_speed``. nan (mode -1) where a
    line has no feed move, or its runs need different words (a subprogram called in inch and in millimetre).
    """

    scale: Array
    mode: Ints
    per_speed: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something the interpreter noticed that the report must say: which words, where first, how often."""

    line: int
    text: str
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Interpretation:
    """The meaning of a program: moves, events, the readings used where a standard is open, what was ignored.

    ``start`` (6,): where the job starts, x y z a b c of the gauge point in the base frame. ``written``: units and
    modes of the F words. ``radius_rows``: the rows D that moves are compensated by, rising. ``c_line``: the first line
    whose C word turns the tool about its axis, 0 for none. ``cut``: where to begin again. ``remarks``: what may be an
    oversight, each with its first line. ``runs`` (lines + 1,): how often each runs; empty in a program without calls.
    """

    moves: Moves
    events: Events
    start: Array
    readings: tuple[str, ...]
    ignored: tuple[Remark, ...]
    written: Written = field(default_factory=Written)
    radius_rows: tuple[int, ...] = ()
    c_line: int = 0
    cut: RestartPoint | None = None
    remarks: tuple[Remark, ...] = ()
    runs: Ints = field(default_factory=lambda: np.empty(0, np.int64))
