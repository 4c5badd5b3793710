"""The free yaw of a job: when it is free; one best angle, or a profile that follows the path. Tip and axis stay."""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from hexpost.arrays import Array, Flags, distinct
from hexpost.machine.model import Machine
from hexpost.moves.model import ORIENTED, USUAL, Switches
from hexpost.pipeline import Inputs, Job, examine, schedule, understand
from hexpost.setpoints.model import YawProfile
from hexpost.setup.model import Outcome
from hexpost.setup.trial import COARSE_SAMPLES, outcome
from hexpost.setup.yaw_use import YawUse, yaw_use
from hexpost.units import DEG_PER_RAD, RAD_PER_DEG
from hexpost.voice import duration, percent

STEEP = 12.0
"""Power of the use of a limit that is summed up along the path: the larger, the more only the worst counts."""
EASE = 1e-3
"""What a step over the whole range costs beside that: of equal ways the one that turns least is taken."""
TILT_SHARE = 0.5
"""Share of the tilt limits of the machine that the yaw may take."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YawSteps:
    """The grid: ``yaw`` rad from one yaw to the next, ``ticks`` from one control point to the next."""

    yaw: float
    ticks: int


def farthest(machine: Machine, ticks: int) -> float:
    """Return how far control points may be apart, rad, so that the curve keeps its share of the tilt limits.

    The derivatives of a uniform cubic B-spline are at most the differences of its control points over the step; second
    differences are at most 2, third ones 4 times the first (C. de Boor, A Practical Guide to Splines, 1978).
    """
    tip, h = machine.tool_tip, ticks * machine.period
    return TILT_SHARE * min(tip.tilt_speed * h, tip.tilt_acceleration * h**2 / 2.0, tip.tilt_jerk * h**3 / 4.0)


def route(found: YawUse, steps: YawSteps, reach: float, hold: Flags, period: float) -> Array:
    """Return for each bin the index of its yaw: the least sum of steep uses, changes of at most ``reach`` rad.

    ``hold`` (m,): no change from the bin before. The first bin has the middle yaw (R. Bellman, 1957).
    """
    m, k = found.still.shape
    width = int(reach / steps.yaw + 1e-9)
    rate = steps.yaw / (steps.ticks * period)
    best = np.full(k, np.inf)
    best[k // 2] = 0.0
    came = np.zeros((m, k), dtype=np.int64)
    for i in range(m):
        options = np.full((2 * width + 1, k), np.inf)
        for row, d in enumerate(range(-width, width + 1)):
            if hold[i] and d:
                continue
            use = np.maximum(found.still[i], (found.speed[i] + abs(d) * rate * found.slope[i]).max(axis=1))
            cost = np.minimum(use, 1e6) ** STEEP + EASE * (d / k) ** 2
            target = slice(max(d, 0), k + min(d, 0))
            origin = slice(max(-d, 0), k - max(d, 0))
            options[row, target] = best[origin] + cost[target]
        row = options.argmin(axis=0)
        best = options[row, np.arange(k)]
        came[i] = np.arange(k) - (row - width)
    out: Array = np.zeros(m)
    j = int(best.argmin())
    for i in range(m - 1, -1, -1):
        out[i] = j
        j = int(came[i, j])
    return out


def taken(inputs: Inputs) -> str | None:
    """Return why the yaw is not free, or ``None``: the first line that takes it, or a tool that is not round."""
    meaning, moves = inputs.meaning, inputs.meaning.moves
    if meaning.c_line:
        return f"line {meaning.c_line} uses C on purpose"
    work = np.array([f.offset != "G53" for f in moves.frames], dtype=np.bool_)
    turned = work[moves.frame] & (moves.end[5] != 0.0)
    axes = inputs.machine.programmed_axes
    if turned.any() and not (axes is not None and axes.vector):  # no vector says a turn about itself
        return f"line {moves.line[np.argmax(turned)]} turns the tool about its axis"
    oriented = np.flatnonzero(meaning.events.spindle == ORIENTED)
    if oriented.size:
        word = meaning.events.name(oriented[0])
        return f"line {meaning.events.line[oriented[0]]} ({word}) stops the spindle at a fixed angle"
    tapping = meaning.written.tapping
    threads = tapping.first[tapping.value != 0.0]
    if threads.size:
        return f"line {moves.line[threads[0]]} taps"
    used = {n for f in moves.frames for n in (f.tool, f.length_row)}
    for number in sorted(used):
        tool = inputs.tools.tools.get(number)
        if tool is not None and not tool.round:
            return f"tool {number} is not round"
    return None


FIXED, BEST, FOLLOW = "fixed", "best", "follow"
MODES = (FIXED, BEST, FOLLOW)
RANGE = 60
"""Yaws up to so many degrees to either side are looked at."""
COARSE_DEG, FINE_DEG = 5.0, 0.5
TRIALS = 3
"""So many of the best yaws by their use of the limits are run in full."""
FOLLOW_RANGE, FOLLOW_DEG = 45.0, 1.5
KNOT_S = (0.25, 0.6)
"""Seconds between control points that are tried; longer for jobs of more than ``MOST_KNOTS`` of them."""
MOST_KNOTS = 600
WORTH = 0.01
"""A profile must lower the worst use of a limit by this."""
SHARES = (1.0, 0.5)
"""Shares of the profile found that are tried."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Yawed:
    """A job with its yaw chosen: the job, what it does, what it would do with the yaw fixed, and that in words."""

    job: Job
    outcome: Outcome
    fixed: Outcome
    text: str


def free_yaw(job: Job, mode: str, switches: Switches = USUAL) -> Yawed:
    """Return ``job`` (whose yaw is fixed) with its yaw as ``mode`` says; fixed, and told why, where it is not free.

    Every candidate is run in full, and the fixed yaw with them: best is never worse than fixed, follow never worse
    than best. What is sought: most margin; with a strut-limited schedule, least time. ``follow`` keeps the times of
    ``best`` and gains margin.
    """
    fixed = _examined(job)
    why = taken(job.inputs)
    if mode == FIXED or why is not None or not job.inputs.meaning.moves.count:
        return _told(job, mode, fixed, fixed, why)
    objective = "margin" if job.feed == "as-programmed" else "time"
    chosen, result = _best(job, fixed, objective, switches)
    if mode == FOLLOW:
        chosen, result = _follow(chosen, result)
    return _told(chosen, mode, result, fixed, None)


def turned_job(job: Job, yaw: float, switches: Switches, period: float | None = None) -> Job:
    """Return the job with its platform turned by ``yaw`` in all work offsets."""
    inputs = job.inputs
    setup = replace(inputs.setup, yaw=yaw)
    there = understand(inputs.program, inputs.machine, inputs.tools, setup, period, switches=switches)
    return replace(schedule(replace(there, setup=inputs.setup), job.feed), yaw_mode=BEST)


def _best(job: Job, fixed: Outcome, objective: str, switches: Switches) -> tuple[Job, Outcome]:
    """Return the job with its best constant yaw, or as it is."""
    find = _by_margin if objective == "margin" else _by_time
    found = [(fixed, 0.0, job)]
    for yaw in find(job, switches):
        there = turned_job(job, yaw, switches)
        found.append((_examined(there), yaw, there))
    best = min(found, key=lambda f: (f[0].key(objective), abs(f[1])))
    return best[2], best[0]


def _by_margin(job: Job, _switches: Switches) -> list[float]:
    """Return the most promising yaws by the worst use of limits along the path."""
    coarse: Array = np.arange(-RANGE, RANGE + COARSE_DEG / 2, COARSE_DEG) * RAD_PER_DEG
    step = max(1, job.timing.ticks)
    use = yaw_use(job, coarse, step).constant()
    seeds = coarse[np.argsort(use, kind="stable")[:TRIALS]]
    around = np.arange(-COARSE_DEG, COARSE_DEG + FINE_DEG / 2, FINE_DEG) * RAD_PER_DEG
    fine = distinct(np.round(np.concatenate([s + around for s in seeds]) * DEG_PER_RAD, 6)) * RAD_PER_DEG
    use = yaw_use(job, fine, step).constant()
    order = [float(y) for y in fine[np.argsort(use, kind="stable")] if y != 0.0]
    out: list[float] = []
    for yaw in order:  # neighbours of one that is tried already tell little new
        if len(out) < TRIALS and all(abs(yaw - other) > 1.5 * FINE_DEG * RAD_PER_DEG for other in out):
            out.append(yaw)
    return out


def _by_time(job: Job, switches: Switches) -> list[float]:
    """Return the most promising yaws by the time that a coarse run of the whole job takes."""
    period = job.inputs.machine.period * max(1, ceil(job.timing.ticks / COARSE_SAMPLES))
    known: dict[float, tuple[float, ...]] = {}

    def look(degrees: float) -> tuple[float, ...]:
        if degrees not in known and abs(degrees) <= RANGE:
            known[degrees] = _examined(turned_job(job, degrees * RAD_PER_DEG, switches, period)).key("time")
        return known.get(degrees, (np.inf,))

    step = 4 * COARSE_DEG
    best = min(np.arange(-RANGE, RANGE + step / 2, step).tolist(), key=look)
    while step > 2 * FINE_DEG:
        step /= 2.0
        best = min((best, best - step, best + step), key=look)
    return [d * RAD_PER_DEG for d in sorted(known, key=look) if d != 0.0][:TRIALS]


def _follow(best: Job, result: Outcome) -> tuple[Job, Outcome]:
    """Return the best job with a profile on top that leaves more margin, or as it is."""
    chosen, period = replace(best, yaw_mode=FOLLOW), best.inputs.machine.period
    for seconds in KNOT_S:
        ticks = max(2, round(seconds / period), ceil(best.timing.ticks / MOST_KNOTS))
        control = _controls(best, ticks)
        for share in SHARES if np.ptp(control) > 0.0 else ():
            profile = YawProfile(step=ticks, control=share * control, period=period)
            there = replace(best, yaw=profile, yaw_mode=FOLLOW)
            new = _examined(there)
            if _gains(new, result):
                chosen, result = there, new
    return chosen, result


def _gains(new: Outcome, old: Outcome) -> bool:
    """Return whether an outcome is better by so much that turning the platform all along is worth it."""
    return new.key("margin") < old.key("margin") and (new.worst < old.worst - WORTH or new.broken < old.broken)


def _controls(job: Job, ticks: int) -> Array:
    """Return the control points of a profile, rad, one every ``ticks``."""
    half = round(FOLLOW_RANGE / FOLLOW_DEG)
    yaws: Array = np.asarray(np.arange(-half, half + 1) * (FOLLOW_DEG * RAD_PER_DEG), dtype=np.float64)
    found = yaw_use(job, yaws, ticks)
    machine = job.inputs.machine
    steps = YawSteps(yaw=FOLLOW_DEG * RAD_PER_DEG, ticks=ticks)
    way = route(found, steps, farthest(machine, ticks), _holds(job, ticks, len(found.still)), machine.period)
    return yaws[way.astype(np.int64)]


def _holds(job: Job, ticks: int, count: int) -> Flags:
    """Return which control points must equal the one before: the yaw rests where the program waits or ends."""
    events = job.inputs.meaning.events
    waits = job.timing.event_ticks(job.path, events)[events.wait]
    out: Flags = np.zeros(count, dtype=np.bool_)
    for tick in (0, job.timing.ticks, *waits.tolist()):
        knot = tick // ticks
        out[max(knot, 0) : knot + 3] = True
    return out


def _examined(job: Job) -> Outcome:
    """Return what the whole job does."""
    return outcome(examine(job))


def _told(job: Job, mode: str, result: Outcome, fixed: Outcome, why: str | None) -> Yawed:
    """Return the job with what was done about its yaw, also among the readings of its report."""
    if mode == FIXED:
        return Yawed(job=job, outcome=result, fixed=fixed, text="")
    if why is not None:
        text = f"Yaw: fixed, not {mode}: {why}."
    else:
        angle = job.frame_yaw * DEG_PER_RAD
        about = f"the platform is turned by {angle:.2f} deg about the tool"
        if angle == 0.0 and job.yaw is None:
            about = "nothing is gained by turning the platform about the tool"
        if job.yaw is not None:
            low, high = (float(f(job.yaw.control)) * DEG_PER_RAD for f in (np.min, np.max))
            about += f", and by {low:.2f} to {high:.2f} deg more along the path"
        text = f"Yaw {mode}: {about}; {_words(fixed)} with the yaw fixed, {_words(result)} now."
    meaning = replace(job.inputs.meaning, readings=(*job.inputs.meaning.readings, text))
    job = replace(job, inputs=replace(job.inputs, meaning=meaning), yaw_asked=mode)
    return Yawed(job=job, outcome=result, fixed=fixed, text=text)


def _words(o: Outcome) -> str:
    """Return an outcome as one phrase."""
    found = "" if o.clean else f"{o.broken} findings, "
    return f"{found}{percent(o.worst)} of {o.limit or 'no limit'} used, {duration(o.duration)}"
