"""Whole numbers as text of a page, which its script reads back (``job.js``)."""

from base64 import b64encode

import numpy as np

from hexpost.arrays import Ints

_GROUP, _GROUPS = 7, 9


def packed(values: Ints) -> str:
    """Return whole numbers (n,) as text: differences, signs at the end, seven bits a byte, low ones first (LEB128)."""
    step = np.diff(values, prepend=0)
    folded = (step << 1) ^ (step >> 63)
    groups = (folded[:, None] >> (_GROUP * np.arange(_GROUPS))) & 127
    last = np.maximum(_GROUPS - 1 - (groups[:, ::-1] > 0).argmax(axis=1), 0) * (folded > 0)
    place = np.arange(_GROUPS)
    raw = (groups + 128 * (place < last[:, None])).astype(np.uint8)
    return b64encode(raw[place <= last[:, None]].tobytes()).decode()
