"""Array types, the base of all data that is held as columns, and the one way to make arrays read-only."""

from collections.abc import Callable, Sequence
from dataclasses import fields
from typing import Any, Self, TypeVar

import numpy as np
import numpy.typing as npt

from hexpost.shelf import joined

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Lines = npt.NDArray[np.int32]
Codes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Number = TypeVar("Number", bound=np.generic)


KEPT = 1 << 24
FEW = 4096


def keep_memory() -> None:
    """Tell the C library to keep some memory at hand for the next window of work, instead of handing it back.

    An array of so many bytes, made and dropped, does that. Without it every window of text pays for hundreds of pages
    anew, up to a third of its time.
    """
    np.empty(KEPT, dtype=np.uint8)


class Columns:
    """Base of dataclasses of columns: arrays whose last axis counts the rows.

    Fields that are ``Columns`` themselves go along; what is no array belongs to all rows. Fields that do not run by
    rows (edges, offsets into another column) are given anew, by name, wherever rows are taken or joined.
    """

    __slots__ = ()

    def take(self, rows: slice | Ints | Flags, **given: Any) -> Self:  # noqa: ANN401 - any field
        """Return some of the rows; of a slice the columns are views."""

        def taken(value: Any) -> Any:  # noqa: ANN401 - any field
            if isinstance(value, np.ndarray):
                return value[..., rows]
            return value.take(rows) if isinstance(value, Columns) else value

        return self._of(lambda name: taken(getattr(self, name)), given)

    @classmethod
    def joined(cls, parts: Sequence[Self], **given: Any) -> Self:  # noqa: ANN401 - any field
        """Return the rows of all ``parts``, one after the other."""

        def whole(name: str) -> Any:  # noqa: ANN401 - any field
            values = [getattr(part, name) for part in parts]
            if isinstance(values[0], Columns):
                return type(values[0]).joined(values)
            return joined(values) if isinstance(values[0], np.ndarray) else values[0]

        return cls._of(whole, given)

    @classmethod
    def _of(cls, value: Callable[[str], Any], given: dict[str, Any]) -> Self:
        """Return columns with these values of the fields that are not ``given``."""
        return cls(**{f.name: given[f.name] if f.name in given else value(f.name) for f in fields(cls)})  # type: ignore[arg-type]


def in_ranges(low: Ints, high: Ints) -> Ints:
    """Return the whole numbers of ranges ``low`` to ``high`` (left out), shape (n,), one range after the other."""
    count = high - low
    first = np.cumsum(count) - count
    out: Ints = np.arange(int(count.sum())) + np.repeat(low - first, count)
    return out


def among(x: npt.NDArray[np.generic], those: npt.ArrayLike) -> Flags:
    """Return which of ``x`` (any shape) are one of ``those`` (k,).

    ``numpy.isin``, for few values without loading masked arrays first; see ``distinct``.
    """
    if x.size > FEW:
        return np.isin(x, those)
    known = np.sort(np.asarray(those), axis=None)
    if not len(known):
        return np.zeros(x.shape, dtype=np.bool_)
    out: Flags = known[np.minimum(np.searchsorted(known, x), len(known) - 1)] == x
    return out


def distinct(x: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Return the values of ``x`` (any shape), rising, each once, shape (k,).

    ``numpy.unique`` loads masked arrays first, which takes longer than all that a short job asks of it.
    """
    rising = np.sort(x, axis=None)
    out: npt.NDArray[Number] = rising[np.append(True, rising[1:] != rising[:-1])[: len(rising)]]
    return out


def frozen(x: npt.ArrayLike) -> Array:
    """Return a read-only float64 copy of ``x`` (any shape)."""
    a = np.array(x, dtype=np.float64)
    a.flags.writeable = False
    return a
