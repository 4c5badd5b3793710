"""The blocks that move as columns, and where they went once one becomes several; at last the moves of the program."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from hexpost.arrays import Array, Codes, Columns, Flags, Ints, Lines
from hexpost.moves.model import AFTER, ARC, FEED_RAPID, LINE, WITH, Arcs, Events, Frame, Moves, Written
from hexpost.moves.motion.feeds import MoveFeeds
from hexpost.moves.motion.positions import Positions
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.modes import EXACT
from hexpost.shelf import Growing

COLUMNS = ("line", "start", "end", "feed", "feed_mode", "exact", "frame")
"""The columns of ``Steps`` beside the arcs."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps(Columns):
    """The moving blocks as columns (n,) or (6, n), with their arcs."""

    line: Lines
    start: Array
    end: Array
    feed: Array
    feed_mode: Codes
    exact: Flags
    frame: Lines
    turns: Arcs


def steps(blocks: Blocks, at: Positions, turns: Arcs, fed: MoveFeeds) -> tuple[Steps, Ints]:
    """Return the moving blocks without those that neither move the tip nor turn the tool, and their rows (n,)."""
    movement = blocks.movement
    exact = movement.column(blocks.modes.path_control) == EXACT
    once = blocks.sheet.group("exact stop once").row
    once = once[movement.moving[once]]
    if once.size:
        exact[movement.place(once)] = True
    line = blocks.complaints.line(movement.rows)
    whole = Steps(line, at.start, at.end, fed.feed, fed.mode, exact, at.frame, turns)
    keep = fed.tip | fed.tilt
    return (whole, movement.rows) if keep.all() else (without(whole, keep), movement.rows[keep])


def without(whole: Steps, kept: Flags) -> Steps:
    """Return the steps that are ``kept`` (n,); in one frame each begins where the kept one before it ended."""
    keep = np.flatnonzero(kept)
    number = np.cumsum(kept) - 1
    out = whole.take(keep, turns=replace(whole.turns, move=number[whole.turns.move]))
    inner = 1 + np.flatnonzero(out.frame[1:] == out.frame[:-1])
    out.start[:, inner] = out.end[:, inner - 1]
    return out


class StepStore:
    """Holds the steps of window after window, each column in one block; ``room`` moves need no second copy."""

    def __init__(self, room: int) -> None:
        self.count = 0
        self._columns = {name: Growing(room) for name in COLUMNS}
        self._turns: list[Arcs] = []

    def add(self, part: Steps) -> None:
        """Take in the steps of the next window."""
        for name, column in self._columns.items():
            column.add(getattr(part, name))
        self._turns.append(replace(part.turns, move=part.turns.move + self.count))
        self.count += len(part.line)

    def whole(self) -> Steps:
        """Return the steps of all windows as one."""
        columns: dict[str, Any] = {name: column.whole() for name, column in self._columns.items()}
        return Steps(**columns, turns=Arcs.joined(self._turns))


def collect(found: Steps, resting: Flags, frames: tuple[Frame, ...]) -> Moves:
    """Return the moves of a program; ``resting`` (n,) are those after which an event lets the tool rest.

    The tool rests at the end of an exact-stop block, of a rapid and of a move before a rapid, before a change of
    frame, at stops, tool changes and dwells, and at the end.
    """
    rapid = found.feed_mode == FEED_RAPID
    stop = found.exact | rapid | resting
    stop[:-1] |= rapid[1:] | (found.frame[1:] != found.frame[:-1])
    stop[-1:] = True
    kind = np.full(len(found.line), LINE, dtype=np.uint8)
    kind[found.turns.move] = ARC
    return Moves(
        kind=kind,
        start=found.start,
        end=found.end,
        feed=found.feed,
        feed_mode=found.feed_mode,
        stop=stop,
        frame=found.frame,
        line=found.line,
        arcs=found.turns,
        frames=frames,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Where the moves of before went, shape (n,): the first and the last that each has become (none: last < first)."""

    first: Ints
    last: Ints

    def without(self, kept: Flags) -> "Spread":
        """Return where they are once only the ``kept`` (m,) of the moves of now remain."""
        passed = np.concatenate(([0], np.cumsum(kept)))
        return Spread(passed[self.first], passed[self.last + 1] - 1)

    def events(self, found: Events) -> Events:
        """Return events at the moves of now: with the first of a block, or after its last.

        What was to come with a move that is gone comes after the one before it.
        """
        if not len(self.first):
            return found
        known = found.move >= 0
        at = np.maximum(found.move, 0)
        first, last = self.first[at], self.last[at]
        begins = (found.rule == WITH) & (first <= last)
        move = np.where(known, np.where(begins, first, last), found.move)
        rule = np.where(known & ~begins, AFTER, found.rule).astype(np.uint8)
        return replace(found, move=move, rule=rule)

    def written(self, found: Written) -> Written:
        """Return what is in force over runs of the moves of now."""
        return found.moved(np.append(self.first, self.last[-1] + 1)) if len(self.first) else found
