"""The stiffness of six struts as a calibration finds it: keys of the machine file, words, and JSON."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.documents import measured
from hexpost.machine.elastic import springs, stiffnesses
from hexpost.setup.calibrate import Calibration
from hexpost.setup.files import number
from hexpost.setup.observe import GEOMETRY

PER_UM = 1e-3
"""N/um in a N/mm."""


def stiffness_values(c: Calibration) -> list[dict[str, str]]:
    """Return the keys of each strut: the stiffness of its body, with what the file says of joints in series.

    Raises
    ------
    InputError
        When a strut would not give way at all, or less than its joints.
    """
    if c.parts is None:
        return [{} for _ in range(6)]
    left = []
    for k, (s, found, sigma) in enumerate(zip(c.machine.struts, *_compliances(c), strict=True)):
        joints = sum(1.0 / x for x in stiffnesses(s)) - (1.0 / s.body.stiffness if s.body.stiffness else 0.0)
        if found - joints <= 0.0:
            nano = 1e6
            what = f"strut {k + 1} would give way by {found * nano:.3g} nm/N, give or take {sigma * nano:.2g}"
            than = f", its joints alone by {joints * nano:.3g}" if joints else "; that is no stiffness"
            hint = "measure more poses, some with a load: --plan N --stiffness --load-kg M"
            raise c.columns.refusal(what + than, "stiffness-open", hint)
        left.append({"body.stiffness_n_um": number(PER_UM / (found - joints), 6)})
    return left


def parts_lines(c: Calibration) -> list[str]:
    """Return what a terminal shows of the struts as springs, and of what each part explains."""
    if c.parts is None:
        return []
    geometry, elasticity, rest = _shares(c)
    found, sigma = _compliances(c)
    out = ["", "  strut   stiffness, N/um   standard uncertainty"]
    for k in range(6):
        stiffness = PER_UM / found[k]
        out.append(f"  {k + 1}     {stiffness:15.1f}   {stiffness * sigma[k] / abs(found[k]):20.1f}")
    rms, largest = (x / PER_UM for x in c.parts.sag)
    return [
        *out,
        f"  of the mean square error geometry explains {geometry:.2%}, elasticity {elasticity:.2%}; {rest:.2%} is left",
        f"  sag of the tool in these poses: {rms:.1f} um rms, {largest:.1f} um largest",
        "  commands make up for it where the machine file has [compensation] sag = true",
    ]


def parts_document(c: Calibration) -> dict[str, object]:
    """Return what JSON says of the same; nothing where stiffness was not asked for."""
    if c.parts is None:
        return {}
    names = ("geometry", "elasticity", "left")
    found, sigma = _compliances(c)
    start = springs(c.machine)
    nominal: Sequence[float | None] = [None] * 6 if start is None else (1.0 / start.fixed[:, 0]).tolist()
    return {
        "explained_share": {name: measured(share) for name, share in zip(names, _shares(c), strict=True)},
        "stiffness": [
            {
                "strut": k + 1,
                "nominal_n_um": None if was is None else measured(was * PER_UM),
                "found_n_um": measured(PER_UM / float(found[k])),
                "uncertainty_n_um": measured(PER_UM * float(sigma[k]) / float(found[k]) ** 2),
            }
            for k, was in enumerate(nominal)
        ],
    }


def _compliances(c: Calibration) -> tuple[Array, Array]:
    """Return the compliances (6,) found, and their standard uncertainties (6,), mm/N."""
    assert c.found.built.carried is not None
    variance = np.diag(c.found.covariance)[GEOMETRY:]
    return c.found.built.carried.springs.fixed[:, 0], np.sqrt(np.maximum(variance, 0.0))


def _shares(c: Calibration) -> tuple[float, float, float]:
    """Return the shares of the mean square error that geometry, then elasticity explain, and what is left of it."""
    assert c.parts is not None
    whole, some, rest = (x[0] ** 2 for x in (c.before, c.parts.geometry, c.after))
    return 1.0 - some / whole, (some - rest) / whole, rest / whole
