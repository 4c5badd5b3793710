"""What stays in force from block to block; carried from one window of a program to the next."""

from dataclasses import dataclass, field

import numpy as np

from hexpost.arrays import Array
from hexpost.moves.model import Frame

NONE = 255
"""Code of a modal group from which no word has been given yet."""
NUMBERS = 100_000
"""One more than the largest number of a tool or a row."""


@dataclass(frozen=True, slots=True)
class Key:
    """What a frame depends on: offset G code (53: machine coordinates), G43/G44/G49, row H, tool in the spindle."""

    offset: int = 54
    length: int = 49
    row: int = 0
    tool: int = 0

    @property
    def number(self) -> int:
        """Return the key as one number, so that keys form a column."""
        return ((self.offset * 3 + (43, 44, 49).index(self.length)) * NUMBERS + self.row) * NUMBERS + self.tool

    @classmethod
    def of(cls, number: int) -> "Key":
        """Return the key of a number."""
        rest, tool = divmod(number, NUMBERS)
        code, row = divmod(rest, NUMBERS)
        return cls(code // 3, (43, 44, 49)[code % 3], row, tool)


@dataclass(slots=True, kw_only=True)
class State:
    """Modal state; at power-on G17 G90 G94 G40 G49 G80 G64, offset G54, no motion word, no tool, no units.

    ``pose`` (6,) is where the tool is, in ``frame``; ``rotary`` (3,) the modal A B C of the work frame, rad.
    ``feed`` is the modal F as written (nan: none in force) and ``feed_scale`` the millimetres of its unit.
    ``row`` is the last H given, ``selected`` the last T, -1 for none. ``ended``: the end word has been read.
    """

    pose: Array
    frame: Frame
    motion: int = NONE
    plane: int = 17
    units: int = NONE
    distance: int = 90
    feed_mode: int = 94
    path_control: int = 64
    offset: int = 54
    length: int = 49
    row: int = -1
    selected: int = -1
    tool: int = 0
    feed: float = float("nan")
    feed_scale: float = 1.0
    ended: bool = False
    rotary: Array = field(default_factory=lambda: np.zeros(3))

    @property
    def key(self) -> Key:
        """Return what the frame in force depends on."""
        off = self.length == 49
        return Key(self.offset, self.length, 0 if off else max(self.row, 0), self.tool)
