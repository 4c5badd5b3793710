"""Array types of the columnar data, and the one way to make them read-only."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Lines = npt.NDArray[np.int32]
Codes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]


KEPT = 1 << 24


def keep_memory() -> None:
    """Tell the C library to keep some memory at hand for the next window of work, instead of handing it back.

    An array of so many bytes, made and dropped, does that. Without it every window of text pays for hundreds of pages
    anew, up to a third of its time.
    """
    np.empty(KEPT, dtype=np.uint8)


def frozen(x: npt.ArrayLike) -> Array:
    """Return a read-only float64 copy of ``x`` (any shape)."""
    a = np.array(x, dtype=np.float64)
    a.flags.writeable = False
    return a
