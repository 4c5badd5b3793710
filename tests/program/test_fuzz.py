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
