"""Moves of a program posted for other axes, turned into moves of the tip and of A B C; what its words may say."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among
from hexpost.machine.words import NONE
from hexpost.moves.frames.book import MACHINE, SAME, FrameBook
from hexpost.moves.frames.chain import LETTERS, AxisChain
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, Arcs
from hexpost.moves.motion.feeds import MoveFeeds
from hexpost.moves.motion.positions import Positions
from hexpost.moves.rotary.refine import MOST_IN_ALL, MOST_PIECES, Pieces, pieces
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.sheet import Sheet
from hexpost.units import RAD_PER_DEG

ONE_TURN = 360.0
TURNED = 1e-9
"""Size of a rotation from which X Y Z of a machine are no shift of those of the part."""
NOTHING = Pieces(np.empty(0, np.int64), np.empty(0, np.int64), np.empty((6, 0)))


@dataclass(frozen=True, slots=True, eq=False)
class Meant:
    """Moves as they are meant, their arcs, those cut into pieces, and by how much (n,) rotary words turn alone."""

    at: Positions
    turns: Arcs
    cut: Pieces
    alone: Array


def check_rotary(sheet: Sheet, book: FrameBook, complaints: Complaints) -> None:
    """Report rotary words that cannot be meant as this machine reads them."""
    machine = sheet.group("machine coordinates").row
    for letter in LETTERS:
        words = sheet.letter(letter)
        if book.chain is None and book.machine.words.rotary == "shortest":
            continue
        if book.chain is None:
            complaints.words(
                words.at[np.abs(words.value) > ONE_TURN],
                "rotary-word-too-large",
                lambda word: f"{word} is more than a turn; A B C about the tool tip are at most 360 degrees",
                "a program posted for a machine with rotary axes: say which in [programmed_axes] of the machine file",
            )
        elif words.count:
            said = complaints.extract.letter[words.at] == ord(letter)  # others stand for a return or a tool change
            wrong = among(words.row, machine) | (letter not in book.chain.letters)
            complaints.words(
                words.at[wrong & said],
                "rotary-word-not-programmed",
                lambda word: f"{word} is no word of [programmed_axes], or is in a block with {MACHINE_WORD}",
                f"the table names {' '.join(book.chain.letters)}",
            )


MACHINE_WORD = f"G{MACHINE}"


def meant(at: Positions, turns: Arcs, blocks: Blocks, book: FrameBook) -> Meant:
    """Return the moves of a window as they are meant; without programmed axes they are as they are."""
    count = blocks.movement.count
    if book.chain is None or not count:
        return Meant(at, turns, NOTHING, np.zeros(count))
    chain = book.chain
    own = np.array([frame.offset == MACHINE_WORD for frame in book.frames])[at.frame]
    length = np.array([frame.length for frame in book.frames])[at.frame]
    end = np.where(own, at.end, chain.poses(at.end, length))
    start = np.concatenate((end[:, :1], end[:, :-1]), axis=1)
    start[:, at.run_first] = at.opening
    start = np.where(np.abs(start - end) < np.array([SAME] * 3 + [0.0] * 3)[:, None], end, start)
    turned = np.where(own, 0.0, np.abs(at.end[3:] - at.start[3:]).max(axis=0))
    turned[at.run_first] = np.where(np.abs(start - chain.poses(at.start, length))[:, at.run_first].max(axis=0) < 1e-6,
                                    turned[at.run_first], 0.0)  # fmt: skip
    still: Flags = np.max(np.abs(at.end[:3] - at.start[:3]), axis=0) < SAME
    still[turns.move] = False
    cut, turns = _cut(chain, (at, turned, length), turns, blocks, book)
    return Meant(replace(at, start=start, end=end), turns, cut, np.where(still, turned, 0.0))


def _cut(
    chain: AxisChain, moves: tuple[Positions, Array, Array], turns: Arcs, blocks: Blocks, book: FrameBook
) -> tuple[Pieces, Arcs]:
    """Return the feed moves and arcs that must be cut, in pieces, and the arcs that stay arcs."""
    at, turned, length = moves
    motion = blocks.movement.column(blocks.modes.motion)
    arc = np.zeros(len(turned), dtype=np.bool_)
    arc[turns.move] = (turned[turns.move] > 0.0) | (chain.moved(at.end[:, turns.move]) > TURNED)
    wanted: Flags = arc | ((turned > 0.0) & (motion != 0) & (motion != NONE))
    blocks.complaints.blocks(
        blocks.movement.rows[wanted & (turned > MOST_PIECES / 10 * RAD_PER_DEG)],
        "rotary-word-too-large",
        "a move that turns a rotary axis through thousands of degrees",
        "check the rotary words of this block",
    )
    move = np.flatnonzero(wanted)
    slot = np.minimum(np.searchsorted(turns.move, move), max(len(turns.move) - 1, 0))
    bent = np.flatnonzero(arc[move])
    sweep = np.zeros(len(move))
    sweep[bent] = turns.turn[slot[bent]]

    def way(which: Ints, share: Array) -> Array:
        index = move[which]
        words = at.start[:, index] + (at.end - at.start)[:, index] * share
        some = np.flatnonzero(arc[index])
        of, part = slot[which[some]], share[some]
        words[:3, some] = _on_arc(turns, of, (at.start[:3, index[some]], at.end[:3, index[some]]), part)
        return chain.poses(words, length[index])

    cut = pieces(move, np.minimum(np.maximum(turned[move], np.abs(sweep)), MOST_PIECES), way, MOST_IN_ALL - book.pieces)
    book.pieces += int(cut.count.sum())
    blocks.complaints.once(
        blocks.movement.rows[move[cut.full :]],
        "too-many-moves",
        f"rotary moves up to here make more than {MOST_IN_ALL:,} short ones",
        "are its rotary words degrees? cut the program into several, each from rest to rest",
    )
    kept = ~arc[turns.move]
    return cut, turns.take(kept)


def _on_arc(turns: Arcs, of: Ints, ends: tuple[Array, Array], share: Array) -> Array:
    """Return points (3, m) of arcs ``of`` (m,) at shares of their turn; the radius runs from start to end."""
    k = np.arange(len(of))
    w = turns.axis[of].astype(np.int64)
    u, v = (w + 1) % 3, (w + 2) % 3
    spokes = [point - turns.centre[:, of] for point in ends]
    size = np.hypot(spokes[0][u, k], spokes[0][v, k]) * (1 - share) + np.hypot(spokes[1][u, k], spokes[1][v, k]) * share
    angle = np.arctan2(spokes[0][v, k], spokes[0][u, k]) + turns.turn[of] * share
    out = ends[0] + (ends[1] - ends[0]) * share
    out[u, k] = turns.centre[u, of] + size * np.cos(angle)
    out[v, k] = turns.centre[v, of] + size * np.sin(angle)
    return out


def rotary_feeds(fed: MoveFeeds, found: Meant, blocks: Blocks) -> MoveFeeds:
    """Return the feeds, where rotary words change alone as degrees a minute of these words: the time of the block."""
    tip = fed.tip.copy()
    tip[found.cut.move] = True
    alone = (found.alone > 0.0) & (fed.mode != FEED_RAPID) & (fed.mode != FEED_INVERSE)
    if not alone.any():
        return replace(fed, tip=tip)
    unit = 1.0 if blocks.scale is None else blocks.scale[blocks.movement.rows]
    speed = np.where(fed.mode == FEED_TILT, fed.feed, fed.feed / unit * RAD_PER_DEG)
    feed = np.where(alone, speed / np.where(alone, found.alone, 1.0), fed.feed)
    return replace(fed, tip=tip, feed=feed, mode=np.where(alone, FEED_INVERSE, fed.mode).astype(np.uint8))
