"""Search where on the pallet a job breaks no limit and has the most margin, or takes the least time."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from itertools import product
from math import ceil, pi
from pathlib import Path

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.errors import HexpostError
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID
from hexpost.pipeline import ALL_LIMITS, Checking, Files, Inputs, Job, load, schedule
from hexpost.setup.model import Outcome, Spot
from hexpost.setup.trial import COARSE_SAMPLES, Trial, digest_of, first_offset, inputs_of, run, shift_matrix, spot_of
from hexpost.voice import unseen
from hexpost.workers.engines import Engine
from hexpost.workers.run import Runner

SEEDS = 4
"""So many of the best nodes of the sweep are refined, so that the search is not caught in a corner."""
ROUNDS = 5
"""The step is halved so many times."""
FINALISTS = 6
"""So many of the best places found are run with the control period of the machine file."""
HALVES = 7
"""The straight way from the nearest clean place found to the present one is halved so many times."""
MOST_NODES = 20_000
DIRECTIONS = 256
"""Directions in which the cuts' outline is known: of a circle of 100 mm it misses 8 micrometres."""

Tick = Callable[[int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """Where to look: ranges of x, y [mm], turn [rad] and z [mm], and steps of the sweep; ``None``: over the pallet.

    ``objective`` is ``"margin"``, ``"time"`` or ``"nearest"`` (the least change that is clean). ``overhang``: cuts may
    leave the pallet.
    """

    x: tuple[float, float] | None = None
    y: tuple[float, float] | None = None
    z: tuple[float, float] | None = None
    turn: tuple[float, float] = (-pi / 2, pi / 2)
    step: float = 100.0
    step_turn: float = pi / 4
    objective: str = "margin"
    overhang: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """The result of a search: outcomes with the control period where the job stands (``now``) and at the best spot.

    ``nodes`` are the spots of the sweep, ``sweep`` their outcomes with a coarse period (``None``: off the pallet).
    """

    inputs: Inputs
    search: Search
    spot: Spot
    present: Spot
    now: Outcome
    best: Outcome
    nodes: tuple[Spot, ...]
    sweep: tuple[Outcome | None, ...]
    runs: int


def place(
    files: Files,
    feed: str,
    search: Search,
    engine: Engine,
    *,
    total: Tick = unseen,
    tick: Tick = unseen,
    checking: Checking = ALL_LIMITS,
) -> Placement:
    """Return the best placement of a job.

    A sweep over all nodes, then from the best of them to neighbours as long as that helps, with halved steps; the
    best places are then run with the control period of the machine file, together with the present one. Always the
    same for the same files and ranges, on any engine. ``total`` is told how many runs are known to be needed,
    ``tick`` each that is done.

    Raises
    ------
    InputError
        With the faults of the files.
    HexpostError
        When the program moves in no work offset, or the sweep has too many places.
    """
    inputs = load(files)
    if first_offset(inputs) is None:
        raise HexpostError(f"{inputs.program.name}: moves in no work offset: there is nothing to place")
    job = schedule(inputs, feed)
    coarse = inputs.machine.period * max(1, ceil(job.timing.ticks / COARSE_SAMPLES))
    trial = Trial(
        files=files, feed=feed, coarse=coarse, folder=str(Path.cwd()), digest=digest_of(inputs), checking=checking
    )
    present = spot_of(inputs)
    search = within(search, present, inputs.machine)
    nodes = tuple(grid(search))
    cuts = footprint(job)

    def allowed(spot: Spot) -> bool:
        return search.overhang or on_pallet(cuts, present, spot, inputs.machine)

    with Runner(engine) as runner:
        known: dict[Spot, Outcome] = {}

        def look(spots: Sequence[Spot]) -> None:
            new = [s for s in dict.fromkeys(spots) if s not in known]
            total(len(known) + len(new))
            known.update(zip(new, runner.in_order(new, partial(run, trial, exact=False), tick), strict=True))

        rank = partial(_rank, search.objective, present, arm_of(cuts, present))
        look([node for node in nodes if allowed(node)])
        sweep = tuple(known.get(node) for node in nodes)
        finalists = _sought(search, present, known, look, allowed=allowed, rank=rank)
        exact = runner.in_order([None, *finalists], partial(run, trial, exact=True), unseen)
    inputs_of.cache_clear()
    ranked = [(exact[0], present), *zip(exact[1:], finalists, strict=True)]
    best, spot = min(ranked, key=lambda r: rank(r[1], r[0]))
    return Placement(
        inputs=inputs, search=search, spot=spot, present=present, now=exact[0], best=best, nodes=nodes, sweep=sweep,
        runs=len(known) + len(exact),
    )  # fmt: skip


def arm_of(cuts: Array, present: Spot) -> float:
    """Return how far the farthest of the cuts (3, n) is from the spot about which they turn, mm."""
    return float(np.hypot(cuts[0] - present.x, cuts[1] - present.y).max(initial=0.0))


def way(spot: Spot, present: Spot, arm: float) -> float:
    """Return how far the cuts are moved at most from ``present`` to ``spot``, mm: along, and by the turn."""
    return float(np.hypot(np.hypot(spot.x - present.x, spot.y - present.y), spot.z - present.z)) + arm * abs(
        spot.turn - present.turn
    )


def _rank(objective: str, present: Spot, arm: float, spot: Spot, outcome: Outcome) -> tuple[float, ...]:
    """Return what orders spots, best first."""
    if objective != "nearest" or not outcome.clean:
        return outcome.key(objective)
    return (0.0, way(spot, present, arm), outcome.worst)


def _approach(spot: Spot, present: Spot, known: dict[Spot, Outcome], look: Callable[[Sequence[Spot]], None]) -> None:
    """Look at spots on the straight way from a clean one to the present one, by halves, for the nearest clean one."""
    clean, broken = 1.0, 0.0
    for _ in range(HALVES if known[spot].clean and not known[present].clean else 0):
        share = (clean + broken) / 2.0
        between = Spot(**{f.name: _between(present, spot, f.name, share) for f in fields(Spot)})
        look([between])
        clean, broken = (share, broken) if known[between].clean else (clean, share)


def _between(present: Spot, spot: Spot, name: str, share: float) -> float:
    low, high = getattr(present, name), getattr(spot, name)
    return float(low + (high - low) * share)


def _sought(
    search: Search, present: Spot, known: dict[Spot, Outcome], look: Callable[[Sequence[Spot]], None], *,
    allowed: Callable[[Spot], bool], rank: Callable[[Spot, Outcome], tuple[float, ...]],
) -> list[Spot]:  # fmt: skip
    """Return the spots that are to be run with the period of the machine file: sought from the best of the sweep.

    The nearest clean places are at a limit, where a coarse period may not see it broken: some farther ones are taken.
    """

    def ranked() -> list[Spot]:
        return sorted(known, key=lambda s: rank(s, known[s]))

    nearest = search.objective == "nearest"
    if nearest:
        look([present])
    for seed in ranked()[:SEEDS]:
        _refine(seed, search, known, look, allowed=allowed, rank=rank)
    if not nearest:
        return ranked()[:FINALISTS]
    _approach(ranked()[0], present, known, look)
    spots = ranked()
    return [spots[k] for k in (0, 1, 2, 4, 8, 16, 32) if k < len(spots)]


def within(search: Search, present: Spot, machine: Machine) -> Search:
    """Return a search with all of its ranges: the pallet in x and y, the present height in z, unless given."""
    width, depth = machine.pallet.size
    return replace(
        search,
        x=search.x or (-width / 2, width / 2),
        y=search.y or (-depth / 2, depth / 2),
        z=search.z or (present.z, present.z),
    )


def grid(search: Search) -> list[Spot]:
    """Return the nodes of the sweep: even steps over each range, both ends included."""
    x, y, z = (limits or (0.0, 0.0) for limits in (search.x, search.y, search.z))
    axes = [
        _steps(x, search.step),
        _steps(y, search.step),
        _steps(z, search.step),
        _steps(search.turn, search.step_turn),
    ]
    count = int(np.prod([len(a) for a in axes]))
    if count > MOST_NODES:
        what = f"the sweep has {count} places; at most {MOST_NODES} are looked at"
        raise HexpostError(
            f"{what}\n    hint: give larger steps, or narrower ranges; the search refines the best places itself"
        )
    return [Spot(x=a, y=b, z=c, turn=d) for a, b, c, d in product(*axes)]


def footprint(job: Job) -> Array:
    """Return points (3, n) of the pallet frame that the tip passes in feed moves: the farthest in each direction."""
    machine, moves = job.inputs.machine, job.inputs.meaning.moves
    pallet_from_base = invert(pose_matrix(machine.pallet.pose, machine.tilt_order))
    angle = np.arange(DIRECTIONS) * (2.0 * pi / DIRECTIONS)
    sides = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found: Array = np.zeros((3, 0))
    for setpoints in job.setpoints(commands=False):
        poses = setpoints.poses
        cutting = (poses.move >= 0) & (moves.feed_mode[poses.move] != FEED_RAPID)
        frame = pallet_from_base @ moves.frames[poses.frame].base_from_work
        found = np.concatenate([found, frame[:3, :3] @ poses.pose[:3, cutting] + frame[:3, 3:]], axis=1)
        if found.shape[1] > DIRECTIONS:
            found = found[:, distinct((sides @ found[:2]).argmax(axis=1))]
    return found


def on_pallet(cuts: Array, present: Spot, spot: Spot, machine: Machine) -> bool:
    """Return whether cuts (3, n) lie over the pallet once the job has moved from ``present`` to ``spot``."""
    shift = shift_matrix(present, spot, machine.tilt_order)
    there = np.abs(shift[:2, :3] @ cuts + shift[:2, 3:])
    width, depth = machine.pallet.size
    return bool((there[0] <= width / 2).all() and (there[1] <= depth / 2).all())


def _refine(
    spot: Spot, search: Search, known: dict[Spot, Outcome], look: Callable[[Sequence[Spot]], None], *,
    allowed: Callable[[Spot], bool], rank: Callable[[Spot, Outcome], tuple[float, ...]],
) -> Spot:  # fmt: skip
    """Return the best spot found from ``spot`` by steps to neighbours, halved when none of them is better."""
    step, step_turn = search.step / 2.0, search.step_turn / 2.0
    for _ in range(ROUNDS):
        for _ in range(4):
            around = [s for s in _neighbours(spot, search, step, step_turn) if allowed(s)]
            look(around)
            best = min([spot, *around], key=lambda s: rank(s, known[s]))
            if best == spot:
                break
            spot = best
        step, step_turn = step / 2.0, step_turn / 2.0
    return spot


def _neighbours(spot: Spot, search: Search, step: float, step_turn: float) -> list[Spot]:
    """Return the spots one step away along each axis whose range is open, kept within the ranges."""
    out = []
    ranges = {"x": search.x, "y": search.y, "z": search.z, "turn": search.turn}
    for name, limits in ranges.items():
        size = step_turn if name == "turn" else step
        low, high = limits or (0.0, 0.0)
        for sign in (-1.0, 1.0):
            value = float(min(max(getattr(spot, name) + sign * size, low), high))
            if value != getattr(spot, name):
                out.append(replace(spot, **{name: value}))
    return out


def _steps(limits: tuple[float, float], step: float) -> list[float]:
    """Return even steps over a range, at most ``step`` apart."""
    count = max(ceil((limits[1] - limits[0]) / step - 1e-9), 0)
    return [float(x) for x in np.linspace(limits[0], limits[1], count + 1)]
