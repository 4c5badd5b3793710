"""Feed of every move, and what it counts: tip speed, tilt speed, a share of the move a second, or rapid."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints, Lines
from hexpost.machine.words import NONE
from hexpost.moves.frames.book import SAME
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, FEED_TIP, FIRST_FEED, Arcs
from hexpost.moves.motion.positions import Positions
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.sheet import Words, fill
from hexpost.moves.window.state import State
from hexpost.units import RAD_PER_DEG, SECONDS_PER_MINUTE

INVERSE, PER_MINUTE, PER_REVOLUTION = 93, 94, 95
ROOT_SUM_SQUARE = "root-sum-square"
"""Reading of F that counts millimetres (or inches) and degrees together."""
SMALLEST = 1e-6
"""Smallest feed as written: below it a millimetre takes two years."""


@dataclass(frozen=True, slots=True, eq=False)
class MoveFeeds:
    """Columns (n,): feed and what it counts (see ``model``), whether the tip moves, whether the tool turns.

    ``word`` is the modal F as read (nan: none in force), ``line`` its line and ``number`` its place among all F words.
    """

    feed: Array
    mode: Codes
    tip: Flags
    tilt: Flags
    word: Array
    line: Lines
    number: Ints


def feeds(blocks: Blocks, at: Positions, turns: Arcs, state: State) -> MoveFeeds:
    """Return the feed of every move; arcs (``turns``) always move. ``state`` carries the modal F over.

    F is the speed of the tip along its path (a helix included) where the tip moves, and degrees per minute, as the
    norm of the changes of A B C, where it does not. A change of feed mode ends the F in force.
    """
    movement, modes, complaints = blocks.movement, blocks.modes, blocks.complaints
    words = _positive(blocks.sheet.letter("F"), complaints)
    tip = np.zeros(movement.count, dtype=np.bool_)
    tip[turns.move] = True
    for i in range(3):
        tip |= np.abs(at.end[i] - at.start[i]) > SAME
    tilt = np.zeros(movement.count, dtype=np.bool_)
    for i in range(3, 6):
        tilt |= at.end[i] != at.start[i]
    motion = movement.column(modes.motion)
    rapid = (motion == 0) | (motion == NONE)
    inverse = movement.column(modes.feed_mode) == INVERSE
    _refuse_lost(words, blocks, rapid)
    word, scale, line, number = _modal(words, blocks, state)
    if not np.isnan(state.first_feed):
        _first(word, scale, line, (blocks, tip, state.first_feed))
    written = _by_speed(word, blocks, state, rapid | (motion == NONE))
    mode = np.full(movement.count, FEED_TIP, dtype=np.uint8)
    feed = written * scale
    if blocks.reading.mixed_feed == ROOT_SUM_SQUARE and tilt.any():
        feed *= _share(blocks, at, turns)
    pure = tilt & ~tip
    if pure.any():
        mode[pure] = FEED_TILT
        feed[pure] = written[pure] * (RAD_PER_DEG / SECONDS_PER_MINUTE)
    missing = np.isnan(feed)
    if missing.any():
        complaints.once(
            movement.rows[missing & ~rapid & ~inverse],
            "feed-missing",
            "a feed move, but no feed is in force",
            "write F into this block; a change of feed mode ends the feed in force",
        )
    if inverse.any():
        inverse &= ~rapid
        mode[inverse] = FEED_INVERSE
        feed[inverse] = _inverse(words, blocks, inverse)[inverse]
        if blocks.reading.inverse_time_arc == "radius":
            feed[turns.move] /= np.where(inverse[turns.move], np.abs(turns.turn), 1.0)
    feed[rapid] = np.inf
    mode[rapid] = FEED_RAPID
    return MoveFeeds(feed, mode, tip, tilt, word, line, number)


def _first(word: Array, scale: Array, line: Lines, given: tuple[Blocks, Flags, float]) -> None:
    """Put the feed of a program without any F, mm/min, into moves whose tip moves under feed per minute."""
    blocks, tip, feed = given
    movement = blocks.movement
    at = np.flatnonzero(tip & np.isnan(word) & (movement.column(blocks.modes.feed_mode) == PER_MINUTE))
    unit = np.ones(len(at)) if blocks.scale is None else blocks.scale[movement.rows[at]]
    word[at], scale[at], line[at] = feed / unit, unit / SECONDS_PER_MINUTE, FIRST_FEED


def _share(blocks: Blocks, at: Positions, turns: Arcs) -> Array:
    """Return the tip's part (n,) of a feed that counts lengths and degrees together, by root sum square.

    A move takes sqrt(L^2 + D^2) / F minutes, with L the way of the tip in the unit of the program and D the norm of the
    changes of A B C in degrees (common practice of older controls, no source).
    """
    squares = np.sum((at.end[:3] - at.start[:3]) ** 2, axis=0)
    k = np.arange(len(turns.move))
    ahead = (at.end - at.start)[turns.axis, turns.move]
    arm = at.start[:3, turns.move] - turns.centre
    arm[turns.axis, k] = 0.0
    squares[turns.move] = np.sum(arm**2, axis=0) * turns.turn**2 + ahead**2
    if blocks.scale is not None:
        squares = squares / blocks.scale[blocks.movement.rows] ** 2
    degrees = np.sum(((at.end[3:] - at.start[3:]) / RAD_PER_DEG) ** 2, axis=0)
    whole = squares + degrees
    return np.where(squares > 0.0, np.sqrt(squares / np.where(whole > 0.0, whole, 1.0)), 1.0)


def _refuse_lost(words: Words, blocks: Blocks, rapid: Flags) -> None:
    """Report F words under inverse time in blocks that do not move at a feed: they would be lost."""
    inverse = words.take(blocks.modes.feed_mode[words.row] == INVERSE)
    if not inverse.count:
        return
    feeding = np.zeros(blocks.sheet.rows, dtype=np.bool_)
    feeding[blocks.movement.rows[~rapid]] = True
    blocks.complaints.sequels(
        inverse.at[~feeding[inverse.row]],
        "inverse-feed-lost",
        lambda word: f"{word} under inverse time (G93), in a block that does not move at a feed",
        "under G93 an F is that of its own block alone: write it into the block that moves",
    )


def _by_speed(written: Array, blocks: Blocks, state: State, rapid: Flags) -> Array:
    """Return the feed in units a minute (n,): what is written per revolution, times the spindle speed in force."""
    speeds, movement = blocks.sheet.letter("S"), blocks.movement
    before, state.speed = state.speed, float(speeds.value[-1]) if speeds.count else state.speed
    by_speed = movement.column(blocks.modes.feed_mode) == PER_REVOLUTION
    if not by_speed.any():
        return written
    place = movement.place(speeds.row)
    last = np.append(place[1:] != place[:-1], True)[: len(place)] & (place < movement.count)
    speed = fill(place[last], speeds.value[last], movement.count, before)
    blocks.complaints.once(
        movement.rows[by_speed & ~rapid & ~(speed > 0.0)],
        "spindle-speed-missing",
        "a feed per revolution (G95), but no spindle speed above 0 is in force",
        "write S before this block, or G94 and a feed per minute",
    )
    return np.where(by_speed, written * speed, written)


def _positive(words: Words, complaints: Complaints) -> Words:
    """Return the F words above zero; others are reported."""
    bad = words.value < SMALLEST
    if not bad.any():
        return words
    complaints.words(
        words.at[bad], "feed-bad", lambda word: f"{word}: a feed must be above 0", "the tool would never arrive"
    )
    return words.take(~bad)


def _modal(words: Words, blocks: Blocks, state: State) -> tuple[Array, Array, Lines, Ints]:
    """Return the modal F as read (n,), nan for none, mm/s (or 1/s) per unit of it, its line and its number."""
    modes, movement = blocks.modes, blocks.movement
    scale = blocks.millimetres(Words(words.at, words.row, np.ones(words.count)))
    modal = modes.feed_mode[words.row] != INVERSE
    ends = np.flatnonzero(np.diff(modes.feed_mode, prepend=np.uint8(state.feed_mode)))
    row = np.concatenate((ends, words.row[modal]))
    value = np.concatenate((np.full(len(ends), np.nan), words.value[modal]))
    factor = np.concatenate((np.ones(len(ends)), scale[modal]))
    line = np.concatenate((np.zeros(len(ends), np.int32), blocks.complaints.line(words.row[modal])))
    if ends.size:
        order = np.argsort(row, kind="stable")
        row, value, factor, line = row[order], value[order], factor[order], line[order]
    before, before_scale, before_line, before_number = state.feed, state.feed_scale, state.feed_line, state.feed_number
    if len(row):
        state.feed, state.feed_scale, state.feed_line = float(value[-1]), float(factor[-1]), int(line[-1])
        state.feed_number += len(row)
    place = movement.place(row)
    last = np.append(place[1:] != place[:-1], True)[: len(place)] & (place < movement.count)
    place, value, factor, line = place[last], value[last], factor[last], line[last]
    filled = fill(place, value, movement.count, before)
    lines = fill(place, line, movement.count, before_line)
    numbers = fill(place, before_number + 1 + np.flatnonzero(last), movement.count, before_number)
    if movement.count == len(filled) and (factor == before_scale).all():
        return filled, np.full(movement.count, before_scale / SECONDS_PER_MINUTE), lines, numbers
    return filled, fill(place, factor, movement.count, before_scale) / SECONDS_PER_MINUTE, lines, numbers


def _inverse(words: Words, blocks: Blocks, which: Flags) -> Array:
    """Return the F of each block in 1/s (n,); the moves ``which`` (n,) must have one of their own."""
    movement = blocks.movement
    own = np.full(movement.count, np.nan)
    here = movement.moving[words.row]
    own[movement.place(words.row[here])] = words.value[here] / SECONDS_PER_MINUTE
    blocks.complaints.blocks(
        movement.rows[which & np.isnan(own) & ~blocks.complaints.spoilt(movement.rows)],
        "inverse-feed-missing",
        "a feed move under inverse time (G93) without an F of its own",
        "write F (1/min) into every block that moves, or go back to G94",
    )
    return own
