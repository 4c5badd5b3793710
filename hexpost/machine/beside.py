"""Which M words take time beside the motion: tool changes, starts and reversals of the spindle, attended stops."""

import numpy as np

from hexpost.arrays import Array, Codes, among
from hexpost.machine.words import SPINDLE_OFF, SPINDLE_ON, SPINDLE_ORIENTED

CHANGE, START, REVERSE, ATTENDED, NOTHING = range(5)
"""What a word takes time for."""
TOOL_CHANGE, ATTENDED_STOPS = 6, (0, 1, 60)
COUNTER_CLOCKWISE = (4, 14)
_OTHER = -1.0


def time_beside(letter: Codes, value: Array) -> Codes:
    """Return what each word (e,), with its value, takes time for; words come in the order of the program.

    The spindle is at rest before the first word, and after one that stops it, a tool change or an attended stop: a word
    that turns it then starts it, and one for the other way while it turns reverses it (common practice, no source).
    """
    out = np.full(len(value), NOTHING, dtype=np.uint8)
    code = np.where(letter == ord("M"), value, _OTHER)
    out[code == TOOL_CHANGE] = CHANGE
    out[among(code, ATTENDED_STOPS)] = ATTENDED
    turns = among(code, SPINDLE_ON)
    way = np.where(among(code, COUNTER_CLOCKWISE), -1, 1) * turns
    at = np.flatnonzero(turns | among(code, (*SPINDLE_OFF, *SPINDLE_ORIENTED)) | (out != NOTHING))
    before = np.concatenate([[0], way[at]])[:-1]
    out[at[(way[at] != 0) & (before == 0)]] = START
    out[at[way[at] * before == -1]] = REVERSE
    return out
