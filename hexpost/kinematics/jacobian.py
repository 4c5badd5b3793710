"""The Jacobian of the struts, and how evenly it holds the platform."""

import numpy as np

from hexpost.arrays import Array


def strut_rows(vectors: Array, arms: Array) -> Array:
    """Return the rows [u, r x u] (..., 6, 6) with dl/dt = rows @ [v, w].

    ``vectors`` (..., 6, 3) run from base joint to platform joint, u is their direction; ``arms`` (..., 6, 3) run from
    the point that moves with v to the platform joints. E. F. Fichter, 1986 (from memory): struts as lines of force.
    """
    u = vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
    out: Array = np.concatenate([u, np.cross(arms, u)], axis=-1)
    return out


def evenness(vectors: Array, arms: Array) -> float:
    """Return the smallest over the largest singular value of the Jacobian, 0 at a singular pose.

    Turns are taken about the middle of the platform joints and multiplied by the root mean square of their distance
    from it, so that the figure has no unit and does not depend on the choice of frames. ``vectors``, ``arms`` (6, 3).
    """
    arms = arms - arms.mean(axis=0)
    rows = strut_rows(vectors, arms)
    rows[:, 3:] /= np.sqrt((arms**2).sum(axis=1).mean())
    values = np.linalg.svd(rows, compute_uv=False)
    return float(values[-1] / values[0])
