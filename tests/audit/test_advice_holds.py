"""Advice on speeds and on the way between setpoints holds at once: with the advised feeds those limits are kept.

On random machines and programs. Where starts and stops have a part in it, feeds must be tried (tests of refeed).
"""

import random
import re
from dataclasses import replace

import numpy as np
import pytest
from feed.test_other_machines import machines, program

from hexpost.audit.limits import LIMITS, Law
from hexpost.machine.load import no_setup, no_tools
from hexpost.moves.model import FEED_RAPID
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.voice import advice

SURE = (Law.LINEAR, Law.SQUARE)
PLENTY = 1e12


def relaxed(on, seed):
    """Return a machine whose struts are held by speed alone, and whose period and path leave a deviation to find."""
    rng = random.Random(seed)
    struts = tuple(
        replace(s, speed=rng.uniform(60, 300), acceleration=PLENTY, jerk=PLENTY, stroke=(1, PLENTY)) for s in on.struts
    )
    return replace(on, struts=struts, period=0.002)


def inputs_of(text, on):
    return understand(parse(text.encode(), "p.nc"), on, no_tools(), no_setup())


def fed(inputs, feeds):
    """Return the inputs with feeds by line, mm/s (rad/s where a block turns alone)."""
    moves = inputs.meaning.moves
    feed = moves.feed.copy()
    for line, value in feeds.items():
        at = (moves.line == line) & (moves.feed_mode != FEED_RAPID)
        feed[at] = np.minimum(feed[at], value)
    return replace(inputs, meaning=replace(inputs.meaning, moves=replace(moves, feed=feed)))


def broken(inputs):
    """Return the findings that a lower feed mends for certain, by line and limit, and what is advised, by line."""
    f = examine(schedule(inputs)).findings
    sure = [i for i in range(f.count) if LIMITS[f.limit[i]].law in SURE and np.isfinite(f.own_feed[i])]
    unit = {i: (np.radians(1.0) if f.turning[i] else 1.0) / 60.0 for i in sure}
    return {(int(f.line[i]), int(f.limit[i])) for i in sure}, {int(f.line[i]): float(f.feed[i]) * unit[i] for i in sure}


@pytest.mark.parametrize("which", range(22))
def test_what_advice_promises_is_kept(which):
    seed, on = machines()[which]
    inputs = inputs_of(program(seed, 1.0), relaxed(on, seed))
    found, feeds = broken(inputs)
    left, _ = broken(fed(inputs, feeds))
    assert not left & found, (seed, left, feeds)


def test_all_findings_of_a_line_advise_one_feed():
    seen = 0
    for seed, on in machines()[:6]:
        inputs = inputs_of(program(seed, 1.0), replace(on, period=0.002))
        f = examine(schedule(inputs)).findings
        for line in np.unique(f.line):
            mine = np.flatnonzero((f.line == line) & np.isfinite(f.own_feed))
            assert set(f.feed[mine]) == ({f.own_feed[mine].min()} if mine.size else set())
            said = {w for i in mine for w in advice(f.row(int(i))).split() if re.match(r"F\d", w)}
            assert len(said) <= 1
            seen += mine.size > 1
    assert seen > 3
