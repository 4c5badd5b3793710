"""The table of words."""

import numpy as np

from hexpost.machine.words import WORDS, group_of, groups


def test_no_word_stands_twice():
    names = [w.name for w in WORDS]
    assert len(names) == len(set(names))


def test_codes_find_their_groups_and_others_none():
    found = group_of("G", np.array([0.0, 54.0, 54.1, 53.99999, 5.0, -1.0, 1e9, 999.9]))
    names = ["" if not i else groups("G")[i - 1] for i in found]
    assert names == ["motion", "work offset", "", "", "", "", "", ""]
