"""From changes of the struts to shifts and turns of the tip, along a batch: inverse Jacobians, straight in between."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.struts import Struts, jacobian

NODES = 16
"""Samples from one inverse Jacobian to the next; between them it is taken as straight (some 1e-4 of the error)."""
SHIFTS, TURNS = slice(0, 18), slice(18, 36)
"""Rows of inverse Jacobians that give shifts, and turns."""
MOST_GAIN = 1e12
"""Stands for infinity at an exactly singular pose."""


def inverse_rows(struts: Struts, pose: Array) -> Array:
    """Return the inverse Jacobians (36, n), row by row, at consecutive poses (6, n)."""
    n = pose.shape[1]
    nodes = np.minimum(np.arange(-(-n // NODES) + 1) * NODES, n - 1)
    inverse = inverses(jacobian(struts, pose[:, nodes])).reshape(len(nodes), 36).T
    part = np.arange(n) / NODES
    k = part.astype(np.int64)
    share = np.zeros((len(nodes) - 1, NODES))
    share.ravel()[:n] = (part - k) / (np.maximum(nodes[k + 1] - nodes[k], 1) / NODES)
    out: Array = np.multiply(share, np.diff(inverse)[:, :, None])
    out += inverse[:, :-1, None]
    return out.reshape(36, -1)[:, :n]


def moved(inverse: Array, struts: Array) -> Array:
    """Return shifts [mm] and turns [rad] (6, n) of the tip by changes (6, n) of the struts; of 18 rows one of both."""
    out: Array = np.einsum("ijn,jn->in", inverse.reshape(-1, 6, inverse.shape[1]), struts)
    return out


def inverses(jacobians: Array) -> Array:
    """Return the inverses (n, 6, 6) of ``jacobians``; of an exactly singular one, next to nothing is asked."""
    try:
        out: Array = np.asarray(np.linalg.inv(jacobians), dtype=np.float64)
    except np.linalg.LinAlgError:
        singular = np.linalg.det(jacobians) == 0.0
        out = np.asarray(np.linalg.inv(np.where(singular[:, None, None], np.eye(6) / MOST_GAIN, jacobians)))
    return out
