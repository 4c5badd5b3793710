"""Decimal numbers from their digits, eight bytes at a time."""

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, Flags, Ints

Words = npt.NDArray[np.uint64]

WIDTH = 8
"""Bytes that one word holds: so many characters of a number, the point included, are read at once."""

EXACT_DIGITS = 15
"""Integers of so many digits are below 2**53, so that dividing them by an exact power of ten rounds once."""

TEN = 10 ** np.arange(WIDTH + 1)
TEN_FLOAT = TEN.astype(np.float64)


def preceding_bytes(text: bytes) -> Words:
    """Return, for each offset of ``text`` (and its end), the 8 bytes before it as one little-endian word.

    The result, shape (len(text) + 1,), is a view with overlapping elements: read it, never write it.
    """
    return np.ndarray((len(text) + 1,), "<u8", b"0" * WIDTH + text, strides=(1,))


def short_numbers(window: Words, end: Ints, count: Ints, fraction: Ints, pointed: Flags) -> Array:
    """Return the values, shape (n,), of unsigned numbers of at most eight characters that end before ``end``.

    ``count`` digits in all, ``fraction`` of them behind the point, if there is one. The point is squeezed out, the
    digits are one integer, and one division by a power of ten is correctly rounded (IEEE 754). Numbers of more
    characters give nonsense, but no error.
    """
    v = window[end]  # not take, which would copy the overlapping window
    squeezed = v << (pointed.view(np.uint8).astype(np.uint64) << np.uint64(3))
    behind = ~np.uint64(0) << (np.uint64(64) - bits(fraction))  # a shift by 64 gives 0 in numpy
    v ^= squeezed
    v &= behind
    v ^= squeezed
    return integers(v, count) / TEN_FLOAT.take(fraction, mode="clip")


def long_numbers(window: Words, dot: Ints, tail: Ints, whole: Ints, fraction: Ints) -> Array:
    """Return the values, shape (n,), of unsigned numbers of at most eight digits on either side of the point.

    ``dot`` and ``tail`` are the offsets behind the ``whole`` part and behind the ``fraction``. Correctly rounded up to
    ``EXACT_DIGITS`` digits in all.
    """
    mantissa = integers(window[dot], whole) * TEN.take(fraction)
    mantissa += integers(window[tail], fraction)
    return mantissa / TEN_FLOAT.take(fraction)


def integers(v: Words, count: Ints) -> Ints:
    """Return the values of the last ``count`` (0 to 8) bytes of the words ``v``, which are digits; ``v`` is used up.

    Three multiplications add neighbours: digits to pairs, pairs to fours, fours to eights (common practice; the
    constants hold 1 and 100, 1 and 10 000 beside each other).
    """
    shift = np.uint64(64) - bits(count)
    v ^= np.uint64(0x3030303030303030)  # xor, not minus: no borrow from bytes that are no digits
    v >>= shift
    v <<= shift
    low = v >> np.uint64(8)
    v *= np.uint64(10)
    v += low
    np.bitwise_and(v, np.uint64(0x000000FF000000FF), out=low)
    low *= np.uint64(0x000F424000000064)
    v >>= np.uint64(16)
    v &= np.uint64(0x000000FF000000FF)
    v *= np.uint64(0x0000271000000001)
    v += low
    v >>= np.uint64(32)
    return v.view(np.int64)


def bits(count: Ints) -> Words:
    """Return the number of bits in ``count`` (0 to 8) bytes."""
    return count.view(np.uint64) << np.uint64(3)
