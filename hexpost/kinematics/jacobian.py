"""The Jacobian of the struts: how lengths follow the motion of the tool."""

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import axes, rotation, turn
from hexpost.kinematics.struts import Struts


def jacobian(struts: Struts, q: Array) -> Array:
    """Return the rows [u, (R b) x u] (n, 6, 6) at poses ``q`` (6, n): dl/dt = rows @ [v, w].

    v is the velocity of the tip [mm/s], w the angular velocity [rad/s], both in the work frame.
    """
    arms = struts.platform @ np.moveaxis(rotation(q[3], q[4], q[5], struts.order), 2, 0).swapaxes(1, 2)
    return strut_rows(q[:3].T[:, None, :] + arms - struts.base, arms)


def strut_rows(vectors: Array, arms: Array) -> Array:
    """Return the rows [u, r x u] (..., 6, 6) with dl/dt = rows @ [v, w].

    ``vectors`` (..., 6, 3) run from base joint to platform joint, u is their direction; ``arms`` r (..., 6, 3) run
    from the point that moves with v to the platform joints. From l^2 = d . d with d' = v + w x r:
    l' = u . (v + w x r) = u . v + (r x u) . w.
    """
    u = vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.concatenate([u, np.cross(arms, u)], axis=-1)


def angle_axes(q: Array, order: str) -> Array:
    """Return the axes (n, 3, 3) about which A, B, C turn at poses ``q`` (6, n): w = axes @ [a', b', c'].

    The last angle of the order turns about a fixed axis, the others about axes carried along by those after them.
    """
    first, second, third = axes(order)
    n = q.shape[1]
    out: Array = np.zeros((n, 3, 3))
    last = np.moveaxis(turn(third, q[3 + third]), 2, 0)
    middle = np.moveaxis(turn(second, q[3 + second]), 2, 0)
    out[:, third, third] = 1.0
    out[:, :, second] = last[:, :, second]
    out[:, :, first] = np.einsum("nij,nj->ni", last, middle[:, :, first])
    return out
