"""Ten thousand small random jobs: a random machine, a short random program; each is refused or proven by equations.

A job stays in memory: its samples, rounded as a table rounds them, go to the equations of ``verify`` together with the
report; no file of a job is written, and no lower feed is tried. ``python tests/attack/small.py --count N --seed S
[--from K]`` runs jobs K to N and prints those that are right and refused, or wrong and proven; ``--job K`` runs one and
prints all of it.
"""

import argparse
import json
import random
import re
import sys
import tempfile
import time
from collections import Counter
from math import hypot
from pathlib import Path
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parent.parent))

from attack import machines
from attack.jobs import write
from attack.model import Outcome
from attack.programs import MAKERS, Writer

from hexpost import convert
from hexpost.errors import HexpostError
from hexpost.pipeline import Files, examine, load, schedule
from hexpost.proving import AS_PROGRAMMED, Proving
from hexpost.report.document import document
from hexpost.verify.equations import Equations
from hexpost.verify.samples import _rows
from hexpost.verify.settings import JobSettings, read_inputs

MOST_ROWS = 4000
PERIODS_MS = ("0.5", "1", "2", "4", "3.333", "8", "12", "20", "50")
LOCKED = "turn the tool about one axis"
LOCK_DEG = (90.0, 89.9999, 89.99, 89.5, 88.0, 80.0)
"""Middle angles of the tilt order at which, or near which, its first and last axis are one."""


def timed(w):
    """Write lines, arcs and turns that must last a time, or go so far at each turn of the spindle."""
    rng = w.rng
    place = w.somewhere(0.7)
    if rng.random() < 0.5:
        w.say(f"G95 G01 {w.words(X=place['X'], Y=place['Y'])} F{rng.choice([0.05, 0.4]) / (25.4 if w.inch else 1):.5f}")
        w.say("G94")
        return
    far = max(hypot(*(place[k] - w.at[k] for k in "XYZ")), 1e-3)
    w.say(f"G93 G01 {w.words(**place)} {rng.choice(['', 'A2.5 B-3.', 'C7.'])} F{rng.choice([600, 6000]) / far:.4f}")
    if rng.random() < 0.5:
        w.say(f"A{rng.uniform(-4, 4):.4f} F{rng.choice([40, 200])}")
    w.say(f"G94 G01 A0. B0. C0. {w.feed()}")


def tiny(w):
    """Turn the tool by millionths of a degree, alone or on the way; move by millionths of a millimetre."""
    rng = w.rng
    for _ in range(rng.choice([1, 2, 5])):
        words = " ".join(f"{k}{rng.choice([1, -1, 3, 20]) * 1e-6:.6f}" for k in rng.sample("ABC", rng.randrange(1, 4)))
        move = rng.choice(["", "", w.words(X=w.at["X"] + rng.choice([1e-4, 0.5, -9.0]))])
        w.say(f"G01 {move} {words} {w.feed()}")
    if rng.random() < 0.5:
        w.say(f"G01 A0. B0. C0. {w.feed()}")


def dwells(w):
    """Rest, once or more often, between short ways or none."""
    rng = w.rng
    for _ in range(rng.randrange(1, 4)):
        w.say(rng.choice(["G04 P1", "G04 P7.5", "G04 X0.03", "G04 P0"]))
        if rng.random() < 0.5:
            w.say(f"G01 {w.words(Z=w.at['Z'] + rng.choice([-1.0, 0.001, 2.5]))} {w.feed()}")


def locked(w):
    """Turn about all three axes where the frame has the middle angle of the tilt order near 90 degrees."""
    rng, (first, middle, last) = w.rng, w.order
    for _ in range(rng.randrange(1, 5)):
        off = rng.choice([0.0, 1e-6, 1e-4, 0.01, 0.3, 2.0])
        size = rng.choice([1e-6, 1e-3, 0.1, 3.0])
        words = f"{first}{rng.uniform(-size, size):.6f} {middle}{w.sign * w.lock + rng.uniform(-off, off):.6f}"
        move = w.words(**w.somewhere(0.4)) if rng.random() < 0.5 else ""
        w.say(f"G01 {move} {words} {last}{rng.uniform(-size, size):.6f} {w.feed()}")


SMALL = (*MAKERS, timed, timed, tiny, dwells)


def job_texts(rng, place, *, lock=False, turn=None):
    """Return paths of the inputs of a random job, by role; ``turn``: how far its last block turns the tool, deg."""
    machine, setup = machines.slowing(machines.machine(rng)), machines.setup(rng)
    w = Writer(rng)
    w.say(f"{'G20' if w.inch else 'G21'} G17 G90 G94 {rng.choice(['G64', 'G61', ''])}")
    w.say("T1 M06")
    w.say("G43 H1 S1200 M03")
    if lock:
        w.order, w.lock, w.sign = (
            re.search(r'tilt_order = "(\w+)"', machine)[1],
            rng.choice(LOCK_DEG),
            rng.choice([1, -1]),
        )
        turned = ", ".join(f"{-w.sign * w.lock if k == w.order[1] else 0.0:.6f}" for k in "ABC")
        lift = rng.uniform(40, 110)
        setup += f"[offset.G54]\npose_mm_deg = [5.0, -4.0, {lift:.3f}, {turned}]\n"
        setup = setup[setup.rindex("[offset.G54]") :]
        w.say(f"G54 G00 X0. Y0. Z0. {w.order[1]}{w.sign * w.lock:.6f}")
        w.at = dict.fromkeys("XYZ", 0.0)
        makers = (locked, locked, timed_alone)
    else:
        w.say(f"G00 {w.words(X=0.0, Y=0.0, Z=40.0)}")
        makers = SMALL
    for _ in range(rng.randrange(1, 4)):
        rng.choice(makers)(w)
    if turn is not None:
        w.say(f"G01 {w.order[0] if lock else 'A'}{turn:.6f} F600")
    w.say("M30")
    texts = {"m_toml": machine, "t_toml": machines.tools(rng), "s_toml": setup, "p_nc": "\n".join(w.blocks) + "\n"}
    paths = write(place, **texts)
    return {"program": paths["p"], "machine": paths["m"], "tools": paths["t"], "setup": paths["s"]}


def timed_alone(w):
    """Write a line that must last a time."""
    w.say(f"G93 G01 {w.words(**w.somewhere(0.3))} F{w.rng.choice([60, 400])}")
    w.say("G94")


def settings(rng):
    """Return how a job is made: period (s) or that of the machine, schedule, override, rest after every block."""
    period = float(rng.choice(PERIODS_MS)) / 1e3 if rng.random() < 0.5 else None
    feed = "strut-limited" if rng.random() < 0.4 else "as-programmed"
    override = round(rng.uniform(20, 100), 1) if rng.random() < 0.1 else 100.0
    return period, feed, override, rng.random() < 0.1


def made(rng, place, *, lock=False, turn=None):
    """Return a random job, its inputs as the equations read them, its rows and its report; a refusal as a text."""
    files = job_texts(rng, place, lock=lock, turn=turn)
    period, feed, override, single = settings(rng)
    proving = Proving(override=override, single_block=single) if single or override != 100.0 else AS_PROGRAMMED
    try:
        job = schedule(load(Files(**files, proving=proving, most_rows=MOST_ROWS), period), feed)
    except HexpostError as error:
        return str(error)
    rows, last, period = [], None, job.inputs.machine.period

    def see(block):
        nonlocal last
        columns = block.length, block.speed, block.acceleration
        last = _rows(columns, block.poses.line.astype("int64"), last, period)
        rows.append(last)

    with patch("hexpost.advised.MOST_TRIED", 0):
        result = examine(job, see=see)
        report = document(convert._report(job, result, None))
    report = json.loads(json.dumps(report))
    given = JobSettings(feed=feed, override=override / 100.0, single_block=single)
    return job, read_inputs(files, place, given), rows, report, result.ambiguous


def against(inputs, rows, report, period):
    """Return what equations have against rows."""
    equations = Equations(inputs, round(period * 1e6), report=report)
    for batch in rows:
        equations.add(batch)
    return [f"{check.name}: {fault}" for check in equations.finish(report) for fault in check.faults]


def right(rng, place, *, lock=False):
    """Make a small job: refused with words, or proven."""
    found = made(rng, place, lock=lock)
    if isinstance(found, str):
        long = "setpoints (" in found
        return Outcome(tried=int(not long), refused=int(not long), note=f"last refusal: {found.splitlines()[0][-160:]}")
    job, inputs, rows, report, ambiguous = found
    faults = against(inputs, rows, report, job.inputs.machine.period)
    locked = [fault for fault in faults if LOCKED in fault]
    if locked:
        return Outcome(refused=1, note=f"last refusal: {locked[0]}")
    outcome = Outcome(clean=1)
    if faults and not ambiguous:
        outcome.wrong.append(" | ".join(faults[:4]))
    return outcome


TURNS_DEG = (1e-6, 1e-4, 3.0)
"""How far the last block of a job with a twin turns the tool."""
OTHERWISE_DEG = 1e-5
"""The least turn that is forged: with an arm of 200 mm it moves a joint by 3.5e-5 mm, 35 units of the last decimal."""
LOCK_TIMES = 30.0
"""So many times that near 90 degrees: 1 / cos 88, by which the last decimal tells less of an angle there."""


def twin(rng, place, *, lock=False):
    """Prove the table of a job against a program whose last turn is a little more: wrong if that is proven."""
    turn, more = rng.choice(TURNS_DEG), OTHERWISE_DEG * (LOCK_TIMES if lock else 1.0)
    found = made(rng, place, lock=lock, turn=turn)
    if isinstance(found, str) or found[-1]:
        return Outcome(tried=0)
    job, inputs, rows, report, _ = found
    program = place / "p.nc"
    head, _, last = program.read_text().rpartition(f"{turn:.6f} F600")
    program.write_text(f"{head}{turn + more:.6f} F600{last}")
    files = {role: place / name for role, name in (("program", "p.nc"), ("machine", "m.toml"), ("tools", "t.toml"))}
    other = read_inputs({**files, "setup": place / "s.toml"}, place, inputs.settings)
    if against(other, rows, report, job.inputs.machine.period):
        return Outcome(refused=1)
    return Outcome(wrong=[f"a turn of {turn + more:g} deg is proven of a table that turns by {turn:g} deg"])


def locked_job(rng, place):
    """Make a small job whose middle angle is near 90 degrees."""
    return right(rng, place, lock=True)


def forged_turn(rng, place):
    """Forge a small turn, now and then near 90 degrees."""
    return twin(rng, place, lock=rng.random() < 0.5)


KINDS = {
    "small turns, forged": forged_turn,
    "small jobs, proven": right,
    "small jobs at 90 degrees, proven": locked_job,
}


def main(arguments):
    """Run many; 1 if one was wrong."""
    parser = argparse.ArgumentParser(prog="small.py", description=__doc__.partition("\n")[0])
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--from", dest="start", type=int, default=0)
    parser.add_argument("--seed", default="1")
    parser.add_argument("--twin", action="store_true", help="forge the last turn of every job instead")
    parser.add_argument("--lock", action="store_true", help="the middle angle of every job is near 90 degrees")
    parser.add_argument("--job", type=int, help="run this one alone, and keep its files here", metavar="K")
    given = parser.parse_args(arguments)
    which = range(given.start, given.count) if given.job is None else [given.job]
    sums, begin = Counter(), time.process_time()
    for k in which:
        lock = given.lock
        with tempfile.TemporaryDirectory(prefix="hexpost-small-") as folder:
            try:
                outcome = (twin if given.twin else right)(random.Random(f"{given.seed} {k}"), Path(folder), lock=lock)
            except Exception as error:  # noqa: BLE001 - that is what is looked for
                outcome = Outcome(lost=[f"{type(error).__name__}: {error}"])
            if given.job is not None:
                print(Path(folder, "p.nc").read_text(), Path(folder, "m.toml").read_text()[:1200])
        bad = [*outcome.lost, *outcome.wrong]
        sums["tried"] += outcome.tried
        sums["proven"] += bool(outcome.clean and not bad)
        sums["refused"] += outcome.refused
        sums["too long"] += outcome.tried == 0
        sums["wrong"] += bool(bad)
        for text in bad:
            print(f"FOUND {given.seed} {k}: {text[:700]}", flush=True)
        if k % 100 == 99 or k == which[-1]:
            told = ", ".join(f"{name} {n:,}" for name, n in sums.items())
            print(f"to {k}: {told}; {time.process_time() - begin:.0f} s of processor time", flush=True)
    return int(sums["wrong"] > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
