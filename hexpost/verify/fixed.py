"""Text of fixed decimals to whole numbers of the last decimal, exactly; any other form is refused.

A field is ``-?digits.decimals`` with the decimals of its column (no point where there are none). Every byte is looked
at: separators stand in the pattern of a row, each point where it must be and none elsewhere, a ``-`` only ahead of its
field; what is left are digits. Eight digits become a whole number by three multiplications (a well-known trick of
parallel sums in one word, no source).
"""

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Flags, Ints
from hexpost.errors import HexpostError

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]

PAD = 16
"""Bytes ahead of the first row: the words before a separator may reach into them."""
MOST_DECIMALS = 7
FAST_DIGITS, MOST_DIGITS = 8, 18
"""Digits before the point that are read eight at a time, and those that a field may have at most in all."""
_U = np.uint64
_DIGITS = 0x0F0F0F0F0F0F0F0F


class RefusedTextError(HexpostError):
    """Text that is not rows of fixed decimals."""


class FixedDecimals:
    """Reads rows of columns with these ``decimals``, 0 to 7 each."""

    def __init__(self, decimals: list[int]) -> None:
        if not decimals or max(decimals) > MOST_DECIMALS:
            raise RefusedTextError(f"expected columns of at most {MOST_DECIMALS} decimals")
        self._columns = len(decimals)
        edges = [i for i in range(1, self._columns) if decimals[i] != decimals[i - 1]]
        self._groups = [(a, b, decimals[a]) for a, b in zip([0, *edges], [*edges, self._columns], strict=True)]
        self._points = sum(d > 0 for d in decimals)
        self._tail = np.array([[d + 1 if d else 0] for d in decimals])
        self._pattern = np.array([ord(",")] * (self._columns - 1) + [ord("\n")], dtype=np.uint8)

    def parse(self, text: memoryview) -> Ints:
        """Return the whole numbers (columns, n) of ``text``: ``PAD`` bytes of anything, then whole rows.

        Raises
        ------
        RefusedTextError
            A field has another form, or more digits than fit.
        """
        raw = np.frombuffer(text, np.uint8)
        end, digits, minus = self._fields(raw)
        low, high = _before(text, len(raw), end)
        octets = high.view(np.uint8).reshape(*high.shape, 8)
        most = digits.max(axis=1)
        out = np.empty(high.shape, dtype=np.uint64)
        for a, b, decimals in self._groups:
            if decimals and (octets[a:b, :, 7 - decimals] != ord(".")).any():
                raise RefusedTextError(f"expected {decimals} decimals")
            longest = int(most[a:b].max())
            if longest > FAST_DIGITS:
                out[a:b] = _one_by_one(text, end[a:b], digits[a:b], decimals)
            elif decimals:
                _with_point(out[a:b], (low[a:b], high[a:b]), digits[a:b], decimals, longest)
            else:
                np.bitwise_and(high[a:b], _own(digits[a:b]), out=out[a:b])
                _eight(out[a:b])
        signed = out.view(np.int64)
        np.negative(signed, out=signed, where=minus)
        return signed

    def _fields(self, raw: Bytes) -> tuple[Ints, Ints, Flags]:
        """Return where each field ends, its digits before the point, and its sign, (columns, n)."""
        body = raw[PAD:]
        separators = np.flatnonzero(body < ord("-"))
        rows, rest = divmod(len(separators), self._columns)
        if not rows or rest or body[-1] != ord("\n"):
            raise RefusedTextError(f"expected rows of {self._columns} numbers")
        separators += PAD
        if (raw[separators].reshape(rows, -1) != self._pattern).any():
            raise RefusedTextError(f"expected rows of {self._columns} numbers")
        end: Ints = np.empty((self._columns, rows), dtype=np.int64)
        end[...] = separators.reshape(rows, -1).T
        begin = np.empty_like(end)
        begin[1:] = end[:-1]
        begin[0, 0], begin[0, 1:] = PAD - 1, end[-1, :-1]
        begin += 1
        minus = raw[begin] == ord("-")
        # separators, points (looked at later) and leading signs are all bytes below "0"
        low = len(separators) + rows * self._points + np.count_nonzero(minus)
        if np.count_nonzero(body < ord("0")) != low or body.max() > ord("9"):
            raise RefusedTextError("expected digits and points only")
        digits = np.subtract(end, begin, out=begin)
        digits -= minus
        digits -= self._tail
        if digits.min() < 1:
            raise RefusedTextError("expected a digit before the point")
        return end, digits, minus


def _before(text: memoryview, size: int, end: Ints) -> tuple[Words, Words]:
    """Return the sixteen bytes before each field's end as two words; the later ones, the more significant, last."""
    sixteen = np.ndarray((size - PAD + 1,), dtype="c16", buffer=text, strides=(1,))[end - PAD]
    pairs: Words = sixteen.view("<u8").reshape(*end.shape, 2)
    return pairs[:, :, 0], np.ascontiguousarray(pairs[:, :, 1])


def _own(digits: Ints) -> Words:
    """Return masks of the digits of a field among the last eight bytes before its point."""
    return np.left_shift(_U(_DIGITS), ((FAST_DIGITS - digits) * 8).view(np.uint64))


def _with_point(out: Words, pair: tuple[Words, Words], digits: Ints, decimals: int, longest: int) -> None:
    """Put whole numbers of fields with ``decimals`` into ``out``; ``pair`` are the words before their ends."""
    low, high = pair
    np.left_shift(high, _U(8 * (decimals + 1)), out=out)
    out |= low >> _U(8 * (7 - decimals))
    own = _own(digits)
    out &= own
    shift = 8 * (8 - decimals)
    after = np.bitwise_and(high, _U(_DIGITS >> shift << shift), out=own)
    if longest + decimals <= FAST_DIGITS:
        out >>= _U(8 * decimals)
        out |= after
        _eight(out)
        return
    if longest <= FAST_DIGITS // 2:
        _four(out)
    else:
        _eight(out)
    out *= _U(10**decimals)
    out += _eight(after)


def _eight(words: Words) -> Words:
    """Turn eight digit bytes (the first in the lowest byte, 0 where there is none) into whole numbers, in place."""
    next_ = words >> _U(8)
    for factor, shift, mask in ((10, 16, 0x00FF00FF00FF00FF), (100, 32, 0x0000FFFF0000FFFF), (10000, 0, 0xFFFFFFFF)):
        words *= _U(factor)
        words += next_
        words &= _U(mask)
        if shift:
            np.right_shift(words, _U(shift), out=next_)
    return words


def _four(words: Words) -> None:
    """Do the same for words whose first four digits are none."""
    words >>= _U(32)
    next_ = words >> _U(8)
    words *= _U(10)
    words += next_
    words &= _U(0x00FF00FF)
    np.right_shift(words, _U(16), out=next_)
    words *= _U(100)
    words += next_
    words &= _U(0xFFFF)


def _one_by_one(text: memoryview, end: Ints, digits: Ints, decimals: int) -> Words:
    """Return the sizes of fields with many digits."""
    if int(digits.max()) + decimals > MOST_DIGITS:
        raise RefusedTextError(f"expected at most {MOST_DIGITS} digits")
    tail = decimals + 1 if decimals else 0
    fields = zip(end.ravel().tolist(), digits.ravel().tolist(), strict=True)
    sizes = [int(bytes(text[e - tail - k : e]).replace(b".", b"")) for e, k in fields]
    return np.array(sizes, dtype=np.uint64).reshape(end.shape)
