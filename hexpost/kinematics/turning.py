"""How a platform turns: angular velocity and acceleration of its angles, and a turn about its tool laid over them."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import angles_of, axes, rotation
from hexpost.kinematics.series import sines_of
from hexpost.kinematics.struts import angle_axes


def turning(q: Sequence[Array], seen: Array, order: str, w: Array, alpha: Array) -> None:
    """Fill ``w`` and ``alpha`` (3, n) with angular velocity and acceleration in the axes of the platform.

    ``q``: poses (6, n), their rates and accelerations. The first angle of the ``order`` turns about an axis of the
    platform, the second about one that the first carries along, the last about an axis of the work frame; ``seen``
    (3, 3, n) has the axes of the work frame as the platform sees them, axis second.
    """
    pose, rate, bend = q
    first, second, third = (3 + i for i in axes(order))
    i = first - 3
    j, k = (i + 1) % 3, (i + 2) % 3
    if pose[third].any():
        trig: Array = np.empty((2, pose.shape[1]))
        sines_of(pose[first], trig[0], trig[1])
        u, v = trig if second - 3 == k else (trig[1], np.negative(trig[0], out=trig[0]))
    else:  # the axis that the first angle carries along is still that of the work frame
        u, v = seen[j, second - 3], seen[k, second - 3]
    w[i], alpha[i] = rate[first], bend[first]
    np.multiply(u, rate[second], out=w[j])
    np.multiply(v, rate[second], out=w[k])
    np.multiply(u, bend[second], out=alpha[j])
    alpha[j] += w[k] * w[i]
    np.multiply(v, bend[second], out=alpha[k])
    alpha[k] -= w[j] * w[i]
    if rate[third].any() or bend[third].any():
        last = seen[:, third - 3]
        spin = last * rate[third]
        alpha += last * bend[third]
        for x, y in ((1, 2), (2, 0), (0, 1)):  # the spin about the last axis is carried along by the others
            z = 3 - x - y
            alpha[z] += spin[x] * w[y]
            alpha[z] -= spin[y] * w[x]
        w += spin


def about_tool(motion: Sequence[Array], turn: Sequence[Array], order: str) -> tuple[Array, Array, Array]:
    """Return poses, rates and accelerations (6, n) of R Rz(turn) for those of a pose with rotation R.

    ``motion`` is three arrays (6, n), ``turn`` three (n,): angle and its two time derivatives, rad and s. With the
    axis k of the tool and the angular velocity w: w' = w + t' k, and its derivative is that of w plus t'' k + t' w x k,
    here in the axes of the turned platform.
    """
    pose, rate, acceleration = motion
    angle, speed, growth = turn
    r = rotation(pose[3], pose[4], pose[5], order)
    cosine, sine = np.cos(angle), np.sin(angle)
    x, y, z = r.swapaxes(0, 1)
    seen: Array = np.stack([x * cosine + y * sine, y * cosine - x * sine, z])  # (3, 3, n): rows of R turned back
    near = pose[3:].copy()
    near[2] += angle
    out = pose.copy(), rate.copy(), acceleration.copy()
    out[0][3:] = angles_of(seen.swapaxes(0, 1), order, near)
    w, change, drift = (np.empty((3, pose.shape[1])) for _ in range(3))
    turning(motion, r.swapaxes(0, 1), order, w, change)
    for v in (w, change):
        v[0], v[1] = v[0] * cosine + v[1] * sine, v[1] * cosine - v[0] * sine
    change += [speed * w[1], -speed * w[0], growth]
    w[2] += speed
    about = np.einsum("ijn,njk->nik", seen, angle_axes(out[0], order))
    out[1][3:] = np.linalg.solve(about, w.T[:, :, None])[:, :, 0].T
    out[2][3:] = 0.0
    turning(out, seen, order, w, drift)
    out[2][3:] = np.linalg.solve(about, (change - drift).T[:, :, None])[:, :, 0].T
    return out
