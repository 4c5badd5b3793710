"""Places as a table of comma-separated values."""

from math import tau

import numpy as np

from hexpost.reach.places import Places
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

COLUMNS = (
    "x_mm", "y_mm", "z_mm", "tilt_deg", "feed_mm_min", "tilt_feed_deg_min", "acceleration_mm_s2", "stiffness_n_um",
    "conditioning", *(f"frequency_{k}_hz" for k in range(1, 7)), "uncertainty_um",
)  # fmt: skip


def table(found: Places) -> str:
    """Return the reachable places; a figure that is not known is empty."""
    good = found.reachable
    columns = [
        *found.position[:, good],
        found.tilt[good] * DEG_PER_RAD,
        found.feed[good] * SECONDS_PER_MINUTE,
        found.tilt_speed[good] * DEG_PER_RAD * SECONDS_PER_MINUTE,
        found.acceleration[good],
        found.stiffness[good] * 1e-3,
        found.conditioning[good],
        *(found.frequency[:, good] / tau),
        found.band[good] * 1e3,
    ]
    rows = (",".join("" if np.isnan(x) else f"{x:.6g}" for x in row) for row in zip(*columns, strict=True))
    return "\n".join([",".join(COLUMNS), *rows]) + "\n"
