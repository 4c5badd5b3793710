"""Columns of the moves that move: blocks without way left out, stops decided, frames attached."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines
from hexpost.moves.arcs import Turns
from hexpost.moves.blocks import Blocks
from hexpost.moves.events import rests
from hexpost.moves.feeds import Feeds
from hexpost.moves.model import ARC, FEED_RAPID, LINE, Arcs, Events, Frame, Moves
from hexpost.moves.modes import EXACT
from hexpost.moves.positions import Positions
from hexpost.moves.sheet import Rows


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """The moving blocks as columns (n,) or (6, n), with their arcs and the first move of each run of one frame."""

    rows: Ints
    start: Array
    end: Array
    feed: Array
    feed_mode: Codes
    exact: Flags
    frame: Lines
    run_first: Rows
    turns: Turns


def steps(blocks: Blocks, at: Positions, turns: Turns, fed: Feeds) -> Steps:
    """Return the moving blocks without those that neither move the tip nor turn the tool."""
    movement = blocks.movement
    exact = movement.column(blocks.modes.path_control) == EXACT
    once = blocks.sheet.group("exact stop once").row
    once = once[movement.moving[once]]
    if once.size:
        exact[movement.place(once)] = True
    whole = Steps(movement.rows, at.start, at.end, fed.feed, fed.mode, exact, at.frame, at.run_first, turns)
    return whole if fed.moves.all() else _without(whole, ~fed.moves)


def _without(whole: Steps, still: Flags) -> Steps:
    """Return the steps that are not ``still`` (n,); each begins where the kept one before it ended."""
    keep = np.flatnonzero(~still)
    number = np.concatenate(([0], np.cumsum(~still)))
    start, end = whole.start[:, keep], whole.end[:, keep]
    first = number[whole.run_first]
    joined = np.ones(len(keep), dtype=np.bool_)
    joined[first[first < len(keep)]] = False
    inner = np.flatnonzero(joined)
    start[:, inner] = end[:, inner - 1]
    turns = whole.turns
    return Steps(
        whole.rows[keep],
        start,
        end,
        whole.feed[keep],
        whole.feed_mode[keep],
        whole.exact[keep],
        whole.frame[keep],
        first,
        Turns(number[turns.move], turns.centre, turns.axis, turns.turn),
    )


def collect(found: Steps, happening: Events, frames: tuple[Frame, ...], line0: int) -> Moves:
    """Return the moves of a program.

    The tool rests at the end of an exact-stop block, of a rapid and of a move before a rapid, before a change of
    frame, at stops, tool changes and dwells, and at the end.
    """
    count = len(found.rows)
    rapid = found.feed_mode == FEED_RAPID
    stop = found.exact | rapid | rests(happening, count)
    stop[:-1] |= rapid[1:]
    stop[found.run_first[found.run_first > 0] - 1] = True
    if count:
        stop[-1] = True
    kind = np.full(count, LINE, dtype=np.uint8)
    kind[found.turns.move] = ARC
    turns = found.turns
    return Moves(
        kind=kind,
        start=found.start,
        end=found.end,
        feed=found.feed,
        feed_mode=found.feed_mode,
        stop=stop,
        frame=found.frame,
        line=(found.rows + (1 + line0)).astype(np.int32),
        arcs=Arcs(move=turns.move, centre=turns.centre, axis=turns.axis, turn=turns.turn),
        frames=frames,
    )
