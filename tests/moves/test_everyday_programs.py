"""Everyday programs are understood with their units alone, but for those that a person must decide or write out."""

from collections import Counter

import pytest
from moves.everyday import CUTS, ENDS, HEADS, MANY, PROGRAMS, TOOLS
from moves.programs import MACHINE, faults

ASKED = MACHINE.with_units("mm")
SHARE = 0.72
"""At least so many of a hundred are to be understood."""


def test_the_pieces_are_mixed():
    assert len(PROGRAMS) == MANY == len({text for _, text, _ in PROGRAMS})
    used = Counter(piece for name, _, good in PROGRAMS if good for piece in name.split(", "))
    assert all(used[piece] >= 4 for pieces in (HEADS, TOOLS, CUTS, ENDS) for piece in pieces)


@pytest.mark.parametrize(("name", "text", "good"), PROGRAMS, ids=[name for name, _, _ in PROGRAMS])
def test_each_is_understood_or_refused_with_what_to_do(name, text, good):
    found = faults(text, machine=ASKED)
    assert (not found) == good, "\n".join(map(str, found))


def test_the_share_that_is_understood():
    assert sum(not faults(text, machine=ASKED) for _, text, _ in PROGRAMS) >= SHARE * MANY
