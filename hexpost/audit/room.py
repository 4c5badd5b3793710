"""Checks of the room that bodies have: struts and spindle as capsules, against each other and keep-out boxes."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import WHOLE, Band, Context, struts_without
from hexpost.audit.model import BODIES
from hexpost.kinematics.clearance import segment_to_box, segments_near
from hexpost.machine.model import Machine
from hexpost.machine.room import body_pairs
from hexpost.setpoints.model import Setpoints

DEFAULT_CLEARANCE = 0.0
"""Bodies may come as near as touching where the machine file states no clearance, mm."""

FIRST_BOX = 7
"""Number of the first keep-out box; struts are 0 to 5, the spindle 6."""

FAR = 1e6
"""No distance is as large, mm (a kilometre)."""

GROUPS = (32, 8, 1)
"""Samples for which one in the middle speaks, where it can; each holds whole ones of the next."""
AGAIN = 1e-9
"""A distance that is smaller by less is the same, mm: that of two joints of the platform never changes."""


class Clearance:
    """The distances between surfaces, mm, of all pairs of bodies with a stated radius; the smallest is judged.

    A strut is a capsule from joint centre to joint centre. Struts whose joints at one end are nearer than their bodies
    are no pair, for they always meet there. The spindle is paired with struts and boxes.

    What is given of most samples is a distance that uses nothing of the limit: the pair is nearer at another sample of
    the batch. No two bodies come nearer to each other by more than they move.
    """

    apart = True

    def __init__(self, context: Context) -> None:
        machine = context.machine
        self._poses = context.poses
        self._machine = machine
        self._margin = context.margins.get("clearance", 1.0)
        struts = len(machine.struts)
        solid = [k for k in range(struts + 1) if _radius(machine, k) is not None]
        pairs = body_pairs(machine)
        radii = [_radius(machine, i) or 0.0 for i in range(FIRST_BOX)]
        boxes = [(i, FIRST_BOX + b) for b in range(len(machine.keep_out)) for i in solid]
        self._first = [len(pairs) + len(solid) * b for b in range(len(machine.keep_out) + 1)]  # pair of each box
        self._radii = np.array([radii[i] + radii[j] for i, j in pairs] + [radii[i] for i, _ in boxes])
        pairs += boxes
        self._one, self._other = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
        self.pairs: Ints = np.array([1 + i * BODIES + j for i, j in pairs], dtype=np.int64)
        allowed = machine.health.clearance
        allowed = DEFAULT_CLEARANCE if allowed is None else allowed
        self.band = _band(allowed, 1.0, 1, _unseen(machine))
        self.each = _band(allowed, FAR, len(pairs))

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the distances (k, n) of all pairs where they matter."""
        n, k = setpoints.length.shape[1], len(self.pairs)
        bodies, least = self._bodies(setpoints), np.full(k, np.inf)
        out: Array = np.repeat(self.each.centre[:, None], n, axis=1)
        groups = -(-n // GROUPS[0])
        pair, group = np.repeat(np.arange(k), groups), np.tile(np.arange(groups), k)
        for size, part in zip(GROUPS, (*GROUPS[1:], 1), strict=True):
            middle = np.minimum(np.arange(0, n, size) + size // 2, n - 1)
            moves = self._moves(setpoints, middle, size) if size > 1 else ()
            seen, floor = self._apart(pair, bodies, middle[group], moves, group)
            out[pair, middle[group]] = seen
            np.minimum.at(least, pair, seen)
            look = ~(floor > np.maximum(least - AGAIN, self.band.edges(self._margin)[0])[pair])
            inside = (group[look, None] * (size // part) + np.arange(size // part)).ravel()
            there = inside * part < n
            pair, group = np.repeat(pair[look], size // part)[there], inside[there]
        return out

    def _apart(self, pair: Ints, bodies: Array, at: Ints, moves: Sequence[Array], group: Ints) -> tuple[Array, Array]:
        """Return the distances (m,) of rising pairs (m,) at samples (m,), and the least that they can be near there.

        ``moves`` (2, 7, g) each: how far ends move in the ``group`` (m,) of a sample, as seen from two bodies.
        """
        seen, floor = np.empty(len(pair)), np.zeros(len(pair))
        edges = np.searchsorted(pair, [0, *self._first])
        some, one = slice(edges[0], edges[1]), self._one[pair]
        other = self._other[pair[some]]
        p, q = (ends[:, one, at] for ends in bodies)
        near = segments_near(p[:, some], q[:, some], *(ends[:, other, at[some]] for ends in bodies))
        seen[some] = near.distance
        if moves:
            sides = (np.stack([x[:, one[some], group[some]], x[:, other, group[some]]]) for x in moves)
            floor[some] = np.maximum(*(near.least(x) for x in sides))
        for box, low, high in zip(self._machine.keep_out, edges[1:-1], edges[2:], strict=True):
            some = slice(low, high)
            seen[some] = segment_to_box(p[:, some], q[:, some], box.low, box.high)
            if moves:
                floor[some] = seen[some] - moves[0][:, one[some], group[some]].max(axis=0)
        return seen - self._radii[pair], floor - self._radii[pair]

    def _moves(self, setpoints: Setpoints, middle: Ints, size: int) -> tuple[Array, Array]:
        """Return how far both ends (2, 7, g) of bodies are in groups of samples from where they are in the ``middle``.

        As seen from the base, where the lower ends of struts stand still, and from the platform, where all else does.
        A point moves with the tip, and by its distance from it times the turn, which the sum of the angles' changes
        bounds.
        """
        pose, frame = setpoints.poses.pose, self._poses.frame(setpoints)
        here, starts = pose[:, middle], np.arange(0, pose.shape[1], size)
        above, below = (
            np.maximum.reduceat(pose, starts, axis=1) - here,
            here - np.minimum.reduceat(pose, starts, axis=1),
        )
        off = np.maximum(above, below)
        way, turn = np.sqrt((off[:3] ** 2).sum(axis=0)), off[3:].sum(axis=0)
        fixed, carried = np.zeros((2, 2, FIRST_BOX, len(middle)))
        base = self._poses.struts(setpoints).base
        for k, s in enumerate(self._machine.struts):
            fixed[1, k] = way + turn * np.linalg.norm(s.platform_joint - frame.tip)
            carried[0, k] = way + turn * np.linalg.norm(base[k][:, None] - here[:3], axis=0)
        if self._machine.spindle is not None:
            ends = (self._machine.platform.gauge_point, self._machine.spindle.top)
            fixed[:, -1] = [way + turn * np.linalg.norm(e - frame.tip) for e in ends]
        return fixed, carried

    def _bodies(self, setpoints: Setpoints) -> Array:
        """Return both ends (2, 3, 7, n) of the axes of bodies in the base frame: 6 struts, spindle."""
        machine, frame, at = self._machine, self._poses.frame(setpoints), self._poses.links(setpoints)
        r, shift = frame.base_from_work[:3, :3], frame.base_from_work[:3, 3, None]
        tip = setpoints.poses.pose[:3]
        out: Array = np.zeros((2, 3, FIRST_BOX, tip.shape[1]))
        for k, s in enumerate(machine.struts):
            out[0, :, k] = s.base_joint[:, None]
            out[1, :, k] = r @ (tip + at.arms[:, k]) + shift
        if machine.spindle is not None:
            for end, e in zip(out, (machine.platform.gauge_point, machine.spindle.top), strict=True):
                end[:, -1] = r @ (tip + np.einsum("ijn,j->in", at.rotation, e - frame.tip)) + shift
        return out


def _band(allowed: float, far: float, rows: int, unseen: tuple[tuple[str, int], ...] = ()) -> Band:
    """Return the band of distances; seen from ``far`` away (mm), the smaller of two uses more of it."""
    one = np.ones(rows)
    return Band(
        limit="clearance", struts=np.repeat(WHOLE, rows), low=allowed * one, high=np.inf * one,
        centre=(allowed + far) * one, scale=far * one, slack=0.0 * one, unseen=unseen,
    )  # fmt: skip


def _radius(machine: Machine, body: int) -> float | None:
    """Return the radius of a strut or the spindle; ``None`` where it has none."""
    if body < len(machine.struts):
        return machine.struts[body].body.radius
    return None if machine.spindle is None else machine.spindle.radius


def clearance(context: Context) -> Clearance | None:
    """Return the check, or none where fewer than two bodies can meet."""
    machine = context.machine
    solid = any(s.body.radius is not None for s in machine.struts) or machine.spindle is not None
    return Clearance(context) if body_pairs(machine) or (solid and machine.keep_out) else None


def _unseen(machine: Machine) -> tuple[tuple[str, int], ...]:
    """Return the bodies without a radius, as in ``Band.unseen``."""
    struts = struts_without(np.array([s.body.radius is not None for s in machine.struts]))
    return struts if machine.spindle is not None else (*struts, ("the spindle", 1))
