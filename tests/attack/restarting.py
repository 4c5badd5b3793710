"""Programs begun again at every block that runs: the job from there is the tail of the whole job after the approach."""

from dataclasses import replace

import numpy as np
from attack import programs
from attack.jobs import SAMPLES, proof, write
from attack.model import Outcome
from moves.programs import platform
from verify.folders import run as command

from hexpost.errors import HexpostError
from hexpost.feed.plan import dwells
from hexpost.feed.task import SMALL, task_of
from hexpost.moves.interpret import interpret
from hexpost.moves.order.begin import Asked
from hexpost.moves.restart import restarted
from hexpost.moves.trace import trace
from hexpost.pipeline import Files, load, schedule

EVERYTHING = (1, 2**31 - 1)
ROUNDING = 1e-9
"""Of lengths in mm, and of what one period changes them by."""
NOTHING = "nothing moves from line"
"""How a job is refused that would begin again after its last move."""


def runs(inputs):
    """Return the blocks of a program in the order in which they run: line, run of that line, moves and events ahead.

    The moves are those before the cutter is moved beside its contour.
    """
    out, often, moves, events = [], {}, 0, 0
    for part in trace(inputs.program, inputs.machine, inputs.tools, inputs.setup, EVERYTHING, switches=inputs.switches):
        lines = part.lines.tolist()
        moved, said = part.steps.line.tolist(), part.events.line.tolist()
        for line in lines:
            often[line] = often.get(line, 0) + 1
            out.append((line, often[line], moves, events))
            moves += len(moved) if len(lines) == 1 else moved.count(line)
            events += len(said) if len(lines) == 1 else said.count(line)
    return out


def begun_again(whole, line, run):
    """Return the inputs of the job that begins again, ``None`` where nothing moves any more; and the cut."""
    read = (whole.program, whole.machine, whole.tools, whole.setup)
    try:
        meaning = interpret(*read, [], switches=whole.switches, begin=Asked(line, run))
    except HexpostError as error:
        if NOTHING in str(error):
            return None, None
        raise
    return replace(whole, meaning=restarted(meaning, *read[1:])[0]), meaning.cut


def unlike(whole, rest, cut):
    """Return what is not the same in the tail of a whole job and in the rest that begins again (texts)."""
    a, b = whole.meaning, rest.meaning
    k, e = cut.moves, cut.events
    way = b.moves.count - (a.moves.count - k)
    early = len(b.events.line) - (len(a.events.line) - e)
    found = []
    if way:
        old, new = (platform(j, *at) for j, *at in ((a, a.moves.start[:, k], a.moves.frame[k]),
                                                    (b, b.moves.end[:, way - 1], b.moves.frame[way - 1])))  # fmt: skip
        if np.abs(old - new).max() > 1e-6:
            found.append("the approach ends where the rest does not begin")
    for name in ("kind", "start", "end", "feed", "feed_mode", "stop", "line"):
        old, new = getattr(a.moves, name)[..., k:], getattr(b.moves, name)[..., way:]
        if old.shape != new.shape or not np.allclose(old, new, rtol=0.0, atol=ROUNDING):  # sums of incremental words
            found.append(f"moves differ in {name}")
    found += [
        f"events differ in {name}"
        for name in ("rule", "letter", "value", "pause", "wait", "line")
        if not np.array_equal(getattr(a.events, name)[e:], getattr(b.events, name)[early:])
    ]
    if not np.array_equal(a.events.move[e:] - k, b.events.move[early:] - way):
        found.append("events come with other moves")
    if (b.events.move[:early] != -1).any():
        found.append("what is in force is not given again before the first move")
    words = [f"{chr(x)}{v:g}" for x, v in zip(b.events.letter[:early], b.events.value[:early], strict=True)]
    if "M6" in words and (not words[0].startswith("T") or words[1] != "M6"):
        found.append(f"given again in the order {words}")
    if cut.tool and f"T{cut.tool}" not in words[:1]:
        found.append(f"T{cut.tool} is in the spindle, given again is {words}")
    return found


def stretches(job):
    """Return into how many stretches a job is divided to be planned."""
    inputs = job.inputs
    rests = dwells(job.path, inputs.meaning.events, inputs.machine.period)
    return len(task_of(job.path, inputs.meaning.moves, inputs.machine, job.feed, rests)[1].span)


def rows_unlike(whole, rest, cut):
    """Return what differs from the first full stop on in two schedules of the same kind (texts).

    Rapids, too. The planner tries several windows where there are few stretches (``feed/task.py``, ``SMALL``): a job of
    more of them than its rest is planned in another way, and is left out.
    """
    if stretches(whole) > SMALL >= stretches(rest):
        return []
    a, b = whole.inputs.meaning.moves, rest.inputs.meaning.moves
    way = b.count - (a.count - cut.moves)
    first = int(np.flatnonzero(a.stop[cut.moves :])[0])
    stops = first + np.flatnonzero(a.stop[cut.moves + first :])
    ends = [j.timing.end_ticks(j.path, stops + ahead) for j, ahead in ((whole, cut.moves), (rest, way))]
    if (ends[0] - ends[0][0] != ends[1] - ends[1][0]).any():
        return ["stops come at other rows"]
    lengths = [np.concatenate([s.length for s in j.setpoints(commands=False)], axis=1) for j in (whole, rest)]
    tails = [x[:, int(end[0]) :] for x, end in zip(lengths, ends, strict=True)]
    if tails[0].shape != tails[1].shape:
        return [f"{tails[0].shape[1]} rows from the first stop on, {tails[1].shape[1]} after beginning again"]
    off = float(np.abs(tails[0] - tails[1]).max(initial=0.0))
    return [f"lengths are {off} mm apart"] if off > 1e3 * ROUNDING else []


def judged(files, chosen, period=None, *, rows=False):
    """Return what is wrong with a program begun again at the blocks that ``chosen`` picks (texts), and how many."""
    whole, wrong, count = load(files, period), [], 0
    job = schedule(whole) if rows else None
    beside = any(x in whole.program.source[:] for x in (b"G41", b"G42"))
    for line, run, moves, events in chosen(runs(whole)):
        rest, cut = begun_again(whole, line, run)
        if rest is None:
            left = moves < whole.meaning.moves.count and not beside
            wrong += [f"line {line}: nothing moves, but moves are left"] if left else []
            continue
        count += 1
        said = unlike(whole, rest, cut)
        if not beside and (cut.moves, cut.events) != (moves, events):
            said.append(f"left out are {cut.moves} moves and {cut.events} events, before it are {moves} and {events}")
        said += rows_unlike(job, schedule(rest), cut) if job is not None else []
        wrong += [f"line {line}, run {run}: {x}" for x in said]
    return wrong, count


def generated(rng, place):
    """Begin a generated program again at a few of its blocks; prove one of the jobs."""
    texts = {"t_toml": (SAMPLES / "tools.toml").read_text(), "s_toml": (SAMPLES / "setup.toml").read_text()}
    paths = write(place, p_nc=programs.program(rng), **texts)
    files = Files(program=paths["p"], tools=paths["t"], setup=paths["s"])
    try:
        load(files)
    except HexpostError:
        return Outcome(refused=1)
    wrong, count = judged(files, lambda blocks: rng.sample(blocks, min(6, len(blocks))), 0.004, rows=True)
    line, run, *_ = rng.choice(runs(load(files)))
    words = ("--from-line", f"{line}@{run}", "--period-ms", "4", "--tools", paths["t"], "--setup", paths["s"])
    code, said = command("convert", paths["p"], "--out", place / "job", *words)
    if code == 2:
        wrong += [] if NOTHING in said else [f"line {line}, run {run}: {said[-200:]}"]
    else:
        wrong += proof(place / "job", code, remake=True)
    text = paths["p"].read_text()
    return Outcome(tried=count + 1, clean=count, wrong=[f"{x} of {text!r}" for x in wrong])


def sample(rng, place):
    """Begin a sample again at one of its blocks, row by row."""
    name = rng.choice(sorted(p.stem for p in SAMPLES.glob("*.nc")))
    machine = SAMPLES / f"{name}.toml"
    files = Files(program=SAMPLES / f"{name}.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml",
                  machine=machine if machine.exists() else None)  # fmt: skip
    wrong, count = judged(files, lambda blocks: [rng.choice(blocks)], rows=True)
    return Outcome(tried=1, clean=count, wrong=[f"{name}: {x}" for x in wrong])


KINDS = {"samples begun again": sample, "generated programs begun again": generated}
