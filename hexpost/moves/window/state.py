"""What stays in force from block to block; carried from one window of a program to the next."""

from dataclasses import dataclass, field, replace

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.words import NONE
from hexpost.moves.model import Frame, Remark

NUMBERS = 100_000
"""One more than the largest number of a tool or a row."""
CODES = 100
"""One more than the largest code of a work offset."""


@dataclass(frozen=True, slots=True)
class Key:
    """What a frame depends on: offset G code (53: machine coordinates), G43/G44/G49, row H, tool in the spindle.

    ``preset`` is the number of the shift in force (0: none).
    """

    offset: int = 54
    length: int = 49
    row: int = 0
    tool: int = 0
    preset: int = 0

    @property
    def number(self) -> int:
        """Return the key as one number, so that keys form a column."""
        code = (self.preset * CODES + self.offset) * 3 + (43, 44, 49).index(self.length)
        return (code * NUMBERS + self.row) * NUMBERS + self.tool

    @classmethod
    def of(cls, number: int) -> "Key":
        """Return the key of a number."""
        rest, tool = divmod(number, NUMBERS)
        code, row = divmod(rest, NUMBERS)
        preset, offset = divmod(code // 3, CODES)
        return cls(offset, (43, 44, 49)[code % 3], row, tool, preset)


@dataclass(slots=True, kw_only=True)
class Cycle:
    """A fixed cycle in force: its G code; R plane, bottom and first level in mm along ``axis`` of ``frame``.

    ``words`` are the last P and Q, ``place`` (6,) where the tool last was; ``broken``: a block of it has been
    refused. ``left``: it taps left-hand threads. ``idle``: it has made no hole so far.
    """

    code: int
    r: float = float("nan")
    bottom: float = float("nan")
    initial: float = float("nan")
    axis: int = 2
    frame: Frame | None = None
    place: Array | None = None
    words: dict[str, tuple[int, float]] = field(default_factory=dict)
    broken: bool = False
    left: bool = False
    idle: bool = True

    def called(self, code: int) -> "Cycle":
        """Return the cycle after its word is given again: levels, P and Q stay in force."""
        return replace(self, code=code)


@dataclass(slots=True, kw_only=True)
class State:
    """Modal state; at power-on G17 G90 G94 G40 G49 G80 G64, offset G54, no motion word, no tool, no units.

    ``pose`` (6,) is where the tool is, in ``frame``; ``rotary`` (3,) the modal A B C of the work frame, rad.
    ``feed`` is the modal F as written (nan: none in force) and ``feed_scale`` the millimetres of its unit;
    ``feed_line`` is its line, ``feed_number`` counts the F words (and changes of feed mode) so far.
    ``first_motion`` is in force until a motion word is given (``NONE``: none is); ``at_head``: no motion word, place,
    preset or F has come yet.
    ``first_feed`` is that of a program without any F, mm/min (nan: none). ``arc_mode`` is 1 for absolute arc centres.
    ``row`` is the last H given, ``selected`` the last T, -1 for none. ``ended``: the end word has been read.
    ``preset`` is the number of the shift that G92 has set; ``spindle`` the last M code of the spindle,
    ``speed`` the last S, ``cutter`` the last of G40 G41 G42, ``holes`` the pecks and ``drilled`` the holes so far;
    ``idle`` is the first line of a cycle that makes no hole, and how many cycles make none.
    """

    pose: Array
    frame: Frame
    motion: int = NONE
    first_motion: int = NONE
    at_head: bool = True
    plane: int = 17
    units: int = NONE
    distance: int = 90
    feed_mode: int = 94
    path_control: int = 64
    arc_mode: int = NONE
    offset: int = 54
    length: int = 49
    row: int = -1
    selected: int = -1
    tool: int = 0
    feed: float = float("nan")
    feed_scale: float = 1.0
    feed_line: int = 0
    feed_number: int = 0
    first_feed: float = float("nan")
    ended: bool = False
    preset: int = 0
    spindle: int = NONE
    speed: float = float("nan")
    cycle: Cycle | None = None
    cycle_return: int = 98
    cutter: int = 40
    holes: float = 0.0
    drilled: int = 0
    idle: tuple[int, int] = (0, 0)
    work_key: int | None = None
    rotary: Array = field(default_factory=lambda: np.zeros(3))

    @property
    def moving_by(self) -> int:
        """Return the motion code that is in force."""
        return self.first_motion if self.motion == NONE else self.motion

    @property
    def key(self) -> Key:
        """Return what the frame in force depends on."""
        off = self.length == 49
        return Key(self.offset, self.length, 0 if off else max(self.row, 0), self.tool, self.preset)

    def call(self, code: int, line: int) -> Cycle:
        """Take in the word of a cycle; return the cycle, which makes no hole yet if none was in force."""
        if self.cycle is None:
            self.idle = (self.idle[0] if self.idle[1] else line, self.idle[1] + 1)
        self.cycle = Cycle(code=code) if self.cycle is None else self.cycle.called(code)
        return self.cycle

    def drill(self, cycle: Cycle, holes: int) -> None:
        """Count the holes of a block of a cycle."""
        self.drilled += holes
        if cycle.idle and holes:
            cycle.idle, self.idle = False, (self.idle[0], self.idle[1] - 1)

    def remarks(self) -> tuple[Remark, ...]:
        """Return the remark on cycles that have made no hole."""
        line, count = self.idle
        return (Remark(line=line, text="sets up a cycle, and no hole follows", count=count),) if count else ()
