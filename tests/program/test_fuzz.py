"""No text whatever ends in a traceback, hangs, or is half understood."""

import pytest
from program.fuzz import ENDLESS, Subject, texts

SUBJECT = Subject()


@pytest.mark.parametrize("seed", range(8))
def test_damaged_and_random_texts_are_understood_or_refused(seed):
    understood = 0
    for text in texts(seed, 150):
        faults, _ = SUBJECT.understand(text)
        understood += not faults
    assert understood


@pytest.mark.parametrize("name", ENDLESS)
def test_endless_programs_are_refused(name):
    faults, _ = SUBJECT.understand(ENDLESS[name])
    assert faults
    assert len(str(faults[0])) < 1000


# what was found by such texts and mended
FOUND = [
    b"G83 R5\n",
    b"G21 G90 G00 X0\nG88 G28 Z5\nX1\n",
    b"G21 G90 G01 F9 G41 D1\nZ5\n",
    b"G21 G90 G00\nG42 D1\nC90\nG40\n",
]


@pytest.mark.parametrize("text", FOUND)
def test_what_once_went_wrong_does_not(text):
    SUBJECT.understand(text)
