"""Array types of the columnar data, and the one way to make them read-only."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Lines = npt.NDArray[np.int32]
Codes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]


def frozen(x: npt.ArrayLike) -> Array:
    """Return a read-only float64 copy of ``x`` (any shape)."""
    a = np.array(x, dtype=np.float64)
    a.flags.writeable = False
    return a
