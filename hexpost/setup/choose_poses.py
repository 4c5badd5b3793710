"""Choose the poses in reach that tell most about the geometry of a machine (D-optimal design)."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine
from hexpost.setup.identify import Frames, unit_scale
from hexpost.setup.measured import Noise
from hexpost.setup.observe import nominal, pose_slopes
from hexpost.setup.poses_in_reach import spread_poses
from hexpost.voice import unseen

CANDIDATES = 800
EXCHANGES = 3
TURNS = 1 + EXCHANGES
"""Times that each pose is chosen, at most."""
LEAST_ELASTIC = 8
"""Fewest full poses that tell geometry and stiffness: 48 numbers."""
FAINT = 1e-6
"""Information that is there before any pose, mm: it makes the first choices comparable, and none that counts."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PosePlan:
    """Chosen poses (6, n) of the platform and their lengths (6, n); condition of the choice, and of as many others.

    ``load`` (n, 4): what is fastened to the platform, kg, and where; ``None`` where there is none to be fastened.
    """

    pose: Array
    length: Array
    load: Array | None
    condition: float
    usual: float


def choose_poses(
    machine: Machine, count: int, noise: Noise, tick: Callable[[int], None] = unseen,
    *, stiffness: bool = False, load: Array | None = None,
) -> PosePlan:  # fmt: skip
    """Return ``count`` poses that make the determinant of the information largest: one by one, then by exchange.

    The rows R of a pose multiply the determinant of the information M: det(M + R' R) = det M det(1 + R M^-1 R'). So the
    pose with the largest factor is taken, and later each is given up for a better one as long as there is one. Always
    the same for the same machine. With ``stiffness`` six compliances are unknown, too, and with a ``load`` (4,) each
    pose may be measured with and without it. ``tick`` is called with 1 after each of ``count`` times ``TURNS`` choices
    at most.
    """
    built = nominal(machine, elastic=stiffness)
    pose = spread_poses(machine, CANDIDATES)
    factors = np.array([1.0 / noise.place] * 3 + [1.0 / noise.turn] * 3)
    loads = None
    if load is not None:
        loads = np.repeat([np.zeros(4), load], pose.shape[1], axis=0)
        pose = np.tile(pose, 2)
    scale = unit_scale(built, Frames(stiffness=stiffness).columns)
    rows = pose_slopes(built, pose, loads)[:, :, : len(scale)] * factors[:, None] * scale
    chosen: list[int] = []
    information = FAINT * np.eye(len(scale))
    for _ in range(count):
        best = _best(rows, information, chosen)
        chosen.append(best)
        information = information + rows[best].T @ rows[best]
        tick(1)
    for _ in range(EXCHANGES):
        before = list(chosen)
        for place in range(count):
            out = chosen[place]
            information = information - rows[out].T @ rows[out]
            others = chosen[:place] + chosen[place + 1 :]
            chosen[place] = _best(rows, information + FAINT * np.eye(len(scale)), others)
            information = information + rows[chosen[place]].T @ rows[chosen[place]]
            tick(1)
        if before == chosen:
            break
    order = np.array(sorted(chosen))
    return PosePlan(
        pose=pose[:, order],
        length=built.struts.lengths(pose[:, order]),
        load=None if loads is None else loads[order],
        condition=_condition(rows, order),
        usual=float(np.median([_condition(rows, np.arange(k, k + count)) for k in range(0, 10 * count, count)
                               if k + count <= len(rows)] or [np.nan])),
    )  # fmt: skip


def _best(rows: Array, information: Array, taken: list[int]) -> int:
    """Return the candidate that adds most: det(I + J inv(M) J') by the matrix determinant lemma."""
    inverse = np.linalg.inv(information)
    gain = np.linalg.slogdet(np.eye(6) + rows @ inverse @ rows.swapaxes(1, 2))[1]
    gain[taken] = -np.inf
    return int(gain.argmax())


def _condition(rows: Array, chosen: Ints) -> float:
    """Return the condition number of the slopes of chosen poses."""
    values = np.linalg.svd(rows[chosen].reshape(-1, rows.shape[2]), compute_uv=False)
    return float(values[0] / values[-1]) if values[-1] > 0.0 else float("inf")
