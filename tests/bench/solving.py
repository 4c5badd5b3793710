"""Poses into lengths, rates and accelerations: against the plain form over vectors, and against a compiled loop."""

import numpy as np
from turns import seconds

from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import BATCH, StrutModel, Struts
from hexpost.machine.load import demonstration_machine

SAMPLES = 1 << 19
"""A table of 524 s at 1 ms, a short job: the plain form holds the vectors of all of it, as plain forms do."""


def case(samples: int, *, yaw: bool) -> tuple[Struts, list[np.ndarray]]:
    """Return struts and poses with rates and accelerations (6, n); without ``yaw`` the angle C stays 0."""
    machine = demonstration_machine()
    seen = StrutModel(machine).in_frame(
        pose_matrix(machine.pallet.pose, machine.tilt_order), machine.platform.gauge_point - np.array([0, 0, 120])
    )
    rng = np.random.default_rng(7)
    size = np.array([300, 300, 100, 0.4, 0.4, 0.4 * yaw])[:, None]
    return seen, [rng.uniform(-1, 1, (6, samples)) * size * scale for scale in (1.0, 3.0, 20.0)]


def naive(struts: Struts, q: list[np.ndarray]) -> list[np.ndarray]:
    """Return lengths, rates and accelerations (n, 6) by joint vectors (n, 6, 3), einsum and cross products."""
    a, b, c = q[0][3:]
    sa, ca, sb, cb, sc, cc = np.sin(a), np.cos(a), np.sin(b), np.cos(b), np.sin(c), np.cos(c)
    r = np.array(
        [
            [cc * cb, cc * sb * sa - sc * ca, cc * sb * ca + sc * sa],
            [sc * cb, sc * sb * sa + cc * ca, sc * sb * ca - cc * sa],
            [-sb, cb * sa, cb * ca],
        ]
    ).transpose(2, 0, 1)
    zero, one = 0 * a, 0 * a + 1
    g = np.array([[cc * cb, -sc, zero], [sc * cb, cc, zero], [-sb, zero, one]]).transpose(2, 0, 1)
    w = np.einsum("nij,jn->ni", g, q[1][3:])
    db, dc = q[1][4:]
    gd = np.array(
        [
            [-sc * cb * dc - cc * sb * db, -cc * dc, zero],
            [cc * cb * dc - sc * sb * db, -sc * dc, zero],
            [-cb * db, zero, zero],
        ]
    ).transpose(2, 0, 1)
    turn = np.einsum("nij,jn->ni", g, q[2][3:]) + np.einsum("nij,jn->ni", gd, q[1][3:])
    arms = np.einsum("nij,kj->nki", r, struts.platform)
    d = q[0][:3].T[:, None] + arms - struts.base
    dd = q[1][:3].T[:, None] + np.cross(w[:, None], arms)
    ddd = q[2][:3].T[:, None] + np.cross(turn[:, None], arms) + np.cross(w[:, None], np.cross(w[:, None], arms))
    length = np.sqrt(np.einsum("nki,nki->nk", d, d))
    rate = np.einsum("nki,nki->nk", d, dd) / length
    both = np.einsum("nki,nki->nk", dd, dd) + np.einsum("nki,nki->nk", d, ddd)
    return [length, rate, (both - rate**2) / length]


def solve(struts: Struts, q: list[np.ndarray]) -> None:
    """Solve block by block, as a job does."""
    for start in range(0, SAMPLES, BATCH):
        struts.derivatives([x[:, start : start + BATCH] for x in q])


def difference(ours: list[np.ndarray], theirs: list[np.ndarray]) -> float:
    """Return the largest relative difference of any column."""
    return max(float(np.abs(o - t).max() / np.abs(t).max()) for o, t in zip(ours, theirs, strict=True))


def solve_vs_naive() -> dict[str, object]:
    """Samples per second over those of the plain form: as five-axis jobs are, C = 0; and with C moving."""
    out = {}
    for name, yaw in (("ratio_with_c", True), ("ratio", False)):
        struts, q = case(SAMPLES, yaw=yaw)
        worst = difference(struts.derivatives(q), [x.T for x in naive(struts, q)])
        ours, theirs = seconds(lambda s=struts, q=q: solve(s, q), lambda s=struts, q=q: naive(s, q))
        out |= {
            name: theirs / ours,
            "samples_per_s": SAMPLES / ours,
            "difference": max(worst, out.get("difference", 0)),
        }
    return out


def compiled_loop():
    """Return a compiled loop over samples and struts: explicit vectors, one pass, every coordinate moving."""
    import numba

    @numba.njit(fastmath=False)
    def loop(base, platform, q, v, a, length, rate, acceleration):
        for n in range(q.shape[1]):
            sa, ca = np.sin(q[3, n]), np.cos(q[3, n])
            sb, cb = np.sin(q[4, n]), np.cos(q[4, n])
            sc, cc = np.sin(q[5, n]), np.cos(q[5, n])
            r00, r01, r02 = cc * cb, cc * sb * sa - sc * ca, cc * sb * ca + sc * sa
            r10, r11, r12 = sc * cb, sc * sb * sa + cc * ca, sc * sb * ca - cc * sa
            r20, r21, r22 = -sb, cb * sa, cb * ca
            da, db, dc = v[3, n], v[4, n], v[5, n]
            wx, wy, wz = r00 * da - sc * db, r10 * da + cc * db, r20 * da + dc
            ea, eb, ec = a[3, n], a[4, n], a[5, n]
            tx = r00 * ea - sc * eb - (r10 * dc + cc * sb * db) * da - cc * dc * db
            ty = r10 * ea + cc * eb + (r00 * dc - sc * sb * db) * da - sc * dc * db
            tz = r20 * ea + ec - cb * db * da
            for i in range(6):
                px, py, pz = platform[i, 0], platform[i, 1], platform[i, 2]
                bx, by, bz = (
                    r00 * px + r01 * py + r02 * pz,
                    r10 * px + r11 * py + r12 * pz,
                    r20 * px + r21 * py + r22 * pz,
                )
                ux, uy, uz = wy * bz - wz * by, wz * bx - wx * bz, wx * by - wy * bx
                x, y, z = q[0, n] + bx - base[i, 0], q[1, n] + by - base[i, 1], q[2, n] + bz - base[i, 2]
                xd, yd, zd = v[0, n] + ux, v[1, n] + uy, v[2, n] + uz
                xdd = a[0, n] + ty * bz - tz * by + wy * uz - wz * uy
                ydd = a[1, n] + tz * bx - tx * bz + wz * ux - wx * uz
                zdd = a[2, n] + tx * by - ty * bx + wx * uy - wy * ux
                size = np.sqrt(x * x + y * y + z * z)
                back = 1.0 / size
                along = (x * xd + y * yd + z * zd) * back
                length[i, n] = size
                rate[i, n] = along
                acceleration[i, n] = (xd * xd + yd * yd + zd * zd + x * xdd + y * ydd + z * zdd - along * along) * back

    return loop


def solve_vs_compiled() -> dict[str, object]:
    """Samples per second over those of a compiled loop: as five-axis jobs are, C = 0; and with C moving."""
    loop = compiled_loop()
    out = {}
    for name, yaw in (("ratio_with_c", True), ("ratio", False)):
        struts, q = case(SAMPLES, yaw=yaw)
        theirs = [np.empty((6, SAMPLES)) for _ in range(3)]

        def run(struts=struts, q=q, theirs=theirs):
            loop(struts.base, struts.platform, *q, *theirs)

        run()
        worst = difference(struts.derivatives(q), theirs)
        ours, compiled = seconds(lambda s=struts, q=q: solve(s, q), run)
        out |= {
            name: compiled / ours,
            "samples_per_s": SAMPLES / ours,
            "difference": max(worst, out.get("difference", 0)),
        }
    return out
