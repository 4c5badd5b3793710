"""A short seeded slice of the attack bench (``tests/attack/run.py``): nothing lost, nothing wrong."""

import random

import numpy as np
import pytest
from attack import damage, disks, doors, killing, machines, restarting, run, singular, striking, surroundings, together
from attack.model import Outcome, Tally, table
from attack.targets import TARGETS, VALUES, edited

SLICE = {
    "samples with slips, proven": 1,
    "damaged samples, converted": 6,
    "damaged library, gated": 4,
    "random machines, proven": 1,
    "random machines turned far": 4,
    "ways past singular poses": 2,
    "ways clear of singular poses": 300,
    "samples begun again": 2,
    "generated programs begun again": 2,
    "SIGKILL": 1,
    "SIGINT": 1,
    "file size bound": 1,
    "vanishing files": 1,
    "file operations of convert over": 4,
    "file operations of align": 20,
    "file operations of gate": 2,
    "closed output": 1,
    "gate with workers, stopped": 1,
    "lists of changed files": 1,
    "measurements with slips": 2,
    "machines that contradict themselves": 5,
}
"""Trials of each kind: whole runs of the tool are left to the bench."""
MODULES = (damage, disks, killing, machines, restarting, singular, striking, surroundings, together, doors)
KINDS = {k: v for m in MODULES for k, v in m.KINDS.items()}


@pytest.mark.parametrize("kind", SLICE)
def test_nothing_is_lost_and_nothing_is_wrong(kind):
    (tally,) = run.attack({kind: KINDS[kind]}, 5.0, 7, most=SLICE[kind])
    assert tally.tried >= SLICE[kind]
    assert not tally.examples, tally.examples


@pytest.mark.parametrize("name", [n for n in TARGETS if n != "program"])
def test_edited_files_are_accepted_or_refused(name):
    """The seeds of the guided search and some edits; programs have a test of their own."""
    rng = random.Random(name)
    target = TARGETS[name]()
    texts = [*target.seeds(), *(b"\x00" + rng.randbytes(4 * rng.randrange(1, 4)) for _ in range(50))]
    taken = [target.take(text) for text in texts]
    assert any(taken)
    assert not all(taken)


def test_an_edit_changes_what_it_says():
    text = "a = 1\nb = 2"
    assert edited(text, bytes([0, 1, 0, VALUES.index("nan")])) == "a = 1\nb = nan"
    assert edited(text, bytes([0, 0, 4, 0])) == "b = 2"
    assert edited(text, bytes([0, 0, 5, 1])) == "a = 1\na = 1\nb = 2"
    assert edited(text, b"") == text


def test_a_trial_that_raises_is_a_loss_and_not_the_end(capsys):
    def hurt(rng, place):
        raise ValueError("planted")

    def wrong(rng, place):
        return Outcome(clean=1, wrong=["planted"])

    tallies = run.attack({"hurt": hurt, "wrong": wrong}, 1.0, 1, most=2)
    assert [(t.tried, t.clean, t.lost, t.wrong) for t in tallies] == [(2, 0, 2, 0), (2, 2, 0, 2)]
    assert "FOUND hurt: lost: ValueError: planted" in table(tallies)
    assert run.main(["--only", "no such kind"]) == 2


def test_the_table_has_a_row_for_each_kind():
    rows = table([Tally("a", tried=1200, lost=1), Tally("bc")]).splitlines()
    assert rows[0].split()[:6] == ["kind", "tried", "clean", "refused", "lost", "wrong"]
    assert rows[1].split()[:2] == ["a", "1,200"]
    assert np.unique([len(r) for r in rows]).size == 1
