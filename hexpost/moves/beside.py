"""Which events take time beside the motion: tool changes, starts and reversals of the spindle, attended stops."""

import numpy as np

from hexpost.arrays import Codes
from hexpost.moves.model import AS_BEFORE, TURNS, Events

CHANGE, START, REVERSE, ATTENDED, NOTHING = range(5)
"""What an event takes time for."""
TOOL_CHANGE, ATTENDED_STOPS = 6, (0, 1, 60)
COUNTER_CLOCKWISE = (4, 14)


def kinds(events: Events) -> Codes:
    """Return what each event (e,) takes time for.

    The spindle is at rest before the first word, and after one that stops it, a tool change or an attended stop: a word
    that turns it then starts it, and one for the other way while it turns reverses it (common practice, no source).
    """
    out = np.full(len(events.move), NOTHING, dtype=np.uint8)
    coded, state = events.letter == ord("M"), events.spindle
    out[coded & (events.value == TOOL_CHANGE)] = CHANGE
    out[coded & np.isin(events.value, ATTENDED_STOPS)] = ATTENDED
    way = np.where(np.isin(events.value, COUNTER_CLOCKWISE), -1, 1) * (state == TURNS)
    at = np.flatnonzero((state != AS_BEFORE) | (out != NOTHING))
    before = np.concatenate([[0], way[at]])[:-1]
    out[at[(way[at] != 0) & (before == 0)]] = START
    out[at[way[at] * before == -1]] = REVERSE
    return out
