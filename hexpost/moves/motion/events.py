"""What happens beside the motion: M S T words and dwells, and where they bring the tool to rest."""

import numpy as np

from hexpost.arrays import Flags, Ints, among
from hexpost.machine.words import BREAKING, WITH_MOTION, groups
from hexpost.moves.model import AFTER, WITH, Events
from hexpost.moves.reading.dwells import Dwells
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.sheet import NO_WORDS, Words

DWELL = 4


def events(blocks: Blocks, dwells: Dwells, rows: Ints, before: int) -> Events:
    """Return the events of a window in the order of the program.

    ``rows`` (n,) are those of its moves, ``before`` the moves of earlier windows. S, T and the M words that act
    with the motion take effect with the start of the move of their block; all others, and any in a block without
    motion, after the move before.
    """
    sheet = blocks.sheet
    coded = [sheet.group(name) for name in groups("M") if name != "subprogram"]
    kinds: list[tuple[str, Words]] = [("M", words) for words in coded]
    kinds += [("S", sheet.letter("S")), ("T", sheet.letter("T"))]
    kinds.append(("G", Words(dwells.at, dwells.row, np.full(len(dwells.at), float(DWELL)))))
    kinds = [(name, words) for name, words in kinds if words.count] or [("G", NO_WORDS)]
    at = np.concatenate([words.at for _, words in kinds])
    row = np.concatenate([words.row for _, words in kinds])
    value = np.concatenate([words.value for _, words in kinds])
    letter = np.concatenate([np.full(words.count, ord(name), dtype=np.uint8) for name, words in kinds])
    pause = np.zeros(len(at))
    pause[len(at) - len(dwells.at) :] = dwells.seconds
    move = np.searchsorted(rows, row, side="right") - 1
    moving = np.zeros(len(at), dtype=np.bool_)
    moving[move >= 0] = rows[move[move >= 0]] == row[move >= 0]
    miscellaneous = letter == ord("M")
    with_motion = ~miscellaneous | among(value, WITH_MOTION)
    with_motion &= moving & (letter != ord("G"))
    rule = np.where(with_motion, WITH, AFTER).astype(np.uint8)
    order = np.lexsort((at, rule, row))
    return Events(
        move=move[order] + before,
        rule=rule[order],
        letter=letter[order],
        value=value[order],
        pause=pause[order],
        wait=(miscellaneous & among(value, BREAKING))[order],
        line=blocks.complaints.line(row[order]),
    )


def rests(found: Events, count: int) -> Flags:
    """Return which of ``count`` moves end at rest because of an event after them: stops, tool changes, dwells."""
    out = np.zeros(count, dtype=np.bool_)
    resting = found.wait | (found.letter == ord("G"))
    move = found.move[resting]
    out[move[move >= 0]] = True
    return out
