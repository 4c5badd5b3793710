"""What is in force over runs of moves, as others ask for it: how feeds are written, tapping, the F word itself."""

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.moves.model import F_INVERSE, F_PER_MINUTE, F_PER_REVOLUTION, Modal, Written
from hexpost.moves.motion.feeds import INVERSE, PER_REVOLUTION, MoveFeeds
from hexpost.moves.window.blocks import Blocks

TAPPING = "tapping"
"""Group of a word that marks the feed moves of a thread; put in where cycles are spelled out."""
LED = "led"
"""Group of a word that marks rapids of reference returns and pecks; put in where these are spelled out."""
MODES = {INVERSE: F_INVERSE, PER_REVOLUTION: F_PER_REVOLUTION}


class InForce:
    """Gathers the runs of a program, window after window; of each column first moves and values."""

    def __init__(self) -> None:
        self._parts: dict[str, list[Modal]] = {
            "scale": [],
            "mode": [],
            "tapping": [],
            "led": [],
            "feed": [],
            "line": [],
        }
        self._last: dict[str, float] = {}

    def look(self, blocks: Blocks, fed: MoveFeeds, rows: Ints, before: int) -> None:
        """Take in a window: ``rows`` (n,) are those of its moves, ``before`` the moves of earlier windows."""
        if not len(rows):
            return
        place = blocks.movement.place(rows)
        mode = np.full(len(rows), F_PER_MINUTE)
        for code, meant in MODES.items():
            mode[blocks.modes.feed_mode[rows] == code] = meant
        scale = np.ones(len(rows)) if blocks.scale is None else blocks.scale[rows]
        line = fed.line[place]
        own = line == blocks.complaints.line(rows)
        tapping, led = (_marks(blocks, name, rows) for name in (TAPPING, LED))
        for name, key, value in (
            ("scale", scale, scale),
            ("mode", mode, mode),
            ("tapping", tapping, tapping),
            ("led", led, led),
            ("feed", np.nan_to_num(fed.word[place], nan=-1.0), fed.word[place]),
            ("line", np.where(own, 0, fed.number[place]), np.where(own, 0, line)),
        ):
            new = np.diff(key.astype(np.float64), prepend=self._last.get(name, np.nan)) != 0.0
            self._last[name] = float(key[-1])
            first = np.flatnonzero(new)
            if first.size:
                self._parts[name].append(Modal(first + before, value[first].astype(np.float64)))

    def whole(self) -> Written:
        """Return what was gathered."""
        return Written(**{name: Modal.joined(parts) for name, parts in self._parts.items() if parts})


def _marks(blocks: Blocks, group: str, rows: Ints) -> Array:
    """Return the value (n,) that marks each of the ``rows`` (n,), 0 where none does."""
    words, out = blocks.sheet.group(group), np.zeros(blocks.sheet.rows)
    out[words.row] = words.value
    return out[rows]
