"""Fixed-decimal CSV rows without a loop over rows: whole numbers to text by table look-up, four characters at a time.

A row is laid out in words of four characters. A number of six decimals is ``-iii`` or ``iiii``, ``.ddd``, ``ddd,``;
where that is too narrow ``lead`` (sign and thousands), ``iii``, ``.ddd``, ``ddd,``; one of three decimals is ``lead``,
``iii.``, ``ddd,``; a whole number ``lead``, ``iii``, ``iii,``. Characters that a number does not need are NUL, and one
pass takes all NULs out at the end.
The text is the one that ``"%.6f"`` gives for the same decimal number, except that there is no negative zero.
"""

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, Ints, Lines, keep_memory
from hexpost.tables.columns import TableColumns
from hexpost.tables.quantise import MICROS, Quantised

Words = npt.NDArray[np.uint32]
Index = npt.NDArray[np.int32] | npt.NDArray[np.int64]

TRIPLE = 1000
LARGEST = 10**9
"""Nine digits: six before the point and three after, or a sign, three and six."""
MOST_SECONDS = 10**7
"""Time in s and line number have seven digits before the point."""


def _words(text: str) -> Words:
    return np.frombuffer(text.replace(" ", "\0").encode(), dtype="<u4").astype(np.uint32)


def _up_to(n: int, form: str = "%4d") -> str:
    return form * n % tuple(range(n))


_NONE, _PLAIN, _MINUS = " " * 4, _up_to(TRIPLE), "%4d" * (TRIPLE - 1) % tuple(range(-1, -TRIPLE, -1))
_POINT = _words(_up_to(TRIPLE, ".%03d"))
_COMMA = _words(_up_to(TRIPLE, "%03d,"))
_UNITS = _words(_PLAIN + _up_to(TRIPLE, " %03d"))
_ABOVE = _words(_NONE + _PLAIN[4:] + _up_to(TRIPLE, " %03d"))
_UNITS_COMMA = _words(_up_to(TRIPLE, "%3d,") + _up_to(TRIPLE, "%03d,"))
_UNITS_POINT = _words(_up_to(TRIPLE, "%3d.") + _up_to(TRIPLE, "%03d."))
_LEAD = _words(_NONE + _PLAIN[4:] + "   -" + _MINUS)
_THOUSANDS = _words(_NONE + _up_to(10 * TRIPLE)[4:])
_SIGNED = _words(_up_to(10 * TRIPLE) + "  -0" + _MINUS)
_NEWLINE = ord("\n")


def time_decimals(period_micros: int) -> int:
    """Return how many decimals the time of a table has: 3 where the period is whole milliseconds, else 6."""
    return 3 if period_micros % TRIPLE == 0 else 6


class RowText:
    """Text of at most ``size`` rows at a time, in work arrays made once (fresh ones cost more than the arithmetic)."""

    def __init__(self, columns: TableColumns, period: float, size: int) -> None:
        keep_memory()
        self._columns = columns
        self._time = time_decimals(round(period * MICROS))
        most = max((len(c.rows) for c in columns.chosen), default=1)
        width = 4 + sum(4 * len(c.rows) for c in columns.chosen) + 2
        self._out = np.empty(size * width, dtype="<u4")
        self._text = np.empty((most, size), dtype=np.uint32)
        self._narrow = tuple(np.empty((most, size), dtype=np.int32) for _ in range(4))
        self._wide = tuple(np.empty((most, size), dtype=np.int64) for _ in range(4))

    def text(self, rows: Quantised) -> bytes:
        r"""Return CSV rows, ``\n`` after each; rows out of the fast range are written one by one, exactly."""
        n = len(rows.line)
        forms = [
            _form(c.group.decimals, low, high)
            for c, low, high in zip(self._columns.chosen, rows.low, rows.high, strict=True)
        ]
        if not all(forms) or not self._clock_fits(rows):
            return self._slow(rows)
        time = (self._time // 3 + _places(rows.micros[-1] // MICROS)) * self._columns.time
        line = _places(rows.line.max()) * self._columns.line
        places = [len(c.rows) * words for c, words in zip(self._columns.chosen, forms, strict=True)]
        width = time + sum(places) + line
        out = self._out[: n * width].reshape(n, width)
        if self._columns.time:
            self._put_time(out[:, :time], rows.micros)
        at = time
        for i, c in enumerate(self._columns.chosen):
            group, top = out[:, at : at + places[i]], max(rows.high[i], -rows.low[i])
            if c.group.decimals == 0:
                self._put_whole(group, rows.whole[i], top)
            elif c.group.decimals == 3:
                self._put_three(group, rows.whole[i], top)
            else:
                self._put_six(group, rows.whole[i], forms[i], top)
            at += places[i]
        if self._columns.line:
            _put_whole(out[:, -line:], rows.line, _UNITS_COMMA)
        out.view(np.uint8)[:, -1] = _NEWLINE
        return out.tobytes().translate(None, b"\0")

    def _clock_fits(self, rows: Quantised) -> bool:
        return bool(
            rows.micros[0] >= 0
            and rows.micros[-1] < MOST_SECONDS * MICROS
            and rows.line.min() >= 0
            and rows.line.max() < MOST_SECONDS
        )

    def _put_time(self, out: Words, micros: Ints) -> None:
        millis = micros // TRIPLE
        seconds = millis // TRIPLE
        if self._time == 3:
            _put_whole(out[:, :-1], seconds, _UNITS_POINT)
            out[:, -1] = _COMMA.take(millis - TRIPLE * seconds)
            return
        _put_whole(out[:, :-2], seconds, _UNITS)
        out[:, -2] = _POINT.take(millis - TRIPLE * seconds)
        out[:, -1] = _COMMA.take(micros - TRIPLE * millis)

    def _put_six(self, out: Words, whole: Array, words: int, top: float) -> None:
        """Write (m, n) whole numbers of six decimals into the places (n, m * words) of their group."""
        rest, upper, low, sign = self._start(whole, top)
        _split(rest, upper, low)
        self._look_up(out[:, words - 1 :: words], _COMMA, low)
        _split(upper, rest, low)
        self._look_up(out[:, words - 2 :: words], _POINT, low)
        if words == 3:
            _mark(rest, sign, -10 * TRIPLE)
            self._look_up(out[:, 0::words], _SIGNED, rest)
            return
        _split(rest, upper, low)
        _mark(low, np.minimum(upper, 1, out=rest), TRIPLE)
        self._look_up(out[:, 1::words], _UNITS, low)
        _mark(upper, sign, -TRIPLE)
        self._look_up(out[:, 0::words], _LEAD, upper)

    def _put_whole(self, out: Words, whole: Array, top: float) -> None:
        """Write (m, n) whole numbers into the places (n, m * 3) of their group."""
        rest, upper, low, sign = self._start(whole, top)
        _split(rest, upper, low)
        _mark(low, np.minimum(upper, 1, out=rest), TRIPLE)
        self._look_up(out[:, 2::3], _UNITS_COMMA, low)
        _split(upper, rest, low)
        _mark(low, np.minimum(rest, 1, out=upper), TRIPLE)
        self._look_up(out[:, 1::3], _ABOVE, low)
        _mark(rest, sign, -TRIPLE)
        self._look_up(out[:, 0::3], _LEAD, rest)

    def _put_three(self, out: Words, whole: Array, top: float) -> None:
        """Write (m, n) whole numbers of three decimals into the places (n, m * 3) of their group."""
        rest, upper, low, sign = self._start(whole, top)
        _split(rest, upper, low)
        self._look_up(out[:, 2::3], _COMMA, low)
        _split(upper, rest, low)
        _mark(low, np.minimum(rest, 1, out=upper), TRIPLE)
        self._look_up(out[:, 1::3], _UNITS_POINT, low)
        _mark(rest, sign, -TRIPLE)
        self._look_up(out[:, 0::3], _LEAD, rest)

    def _start(self, whole: Array, top: float) -> tuple[Index, Index, Index, Index]:
        """Return work arrays of the shape of ``whole``: its magnitude, two free ones, and -1 where it is negative.

        They are of 32 bits where ``top``, the greatest magnitude, allows it: that makes divisions twice as fast.
        """
        m, n = whole.shape
        work, bits = (self._narrow, 31) if top < 2**31 else (self._wide, 63)
        rest, upper, low, sign = (w[:m, :n] for w in work)
        rest[...] = whole
        np.right_shift(rest, bits, out=sign)
        np.abs(rest, out=rest)
        return rest, upper, low, sign

    def _look_up(self, out: Words, table: Words, index: Index) -> None:
        m, n = index.shape
        out[...] = table.take(index, out=self._text[:m, :n], mode="clip").T

    def _slow(self, rows: Quantised) -> bytes:
        parts: list[list[str]] = []
        if self._columns.time:
            drop = 10 ** (6 - self._time)
            parts.append([exact(k // drop, self._time) for k in rows.micros.tolist()])
        for c, whole in zip(self._columns.chosen, rows.whole, strict=True):
            parts += [[exact(int(k), c.group.decimals) for k in row] for row in whole.tolist()]
        if self._columns.line:
            parts.append([str(k) for k in rows.line.tolist()])
        return "".join(",".join(row) + "\n" for row in zip(*parts, strict=True)).encode()


def exact(whole: int, decimals: int) -> str:
    """Return ``whole / 10**decimals`` as text with that many decimals (any magnitude)."""
    upper, low = divmod(abs(whole), 10**decimals)
    if decimals == 0:
        return f"{'-' * (whole < 0)}{upper}"
    return f"{'-' * (whole < 0)}{upper}.{low:0{decimals}d}"


def _form(decimals: int, low: float, high: float) -> int:
    """Return how many words a number of this range takes, 0 where it is beyond the fast layouts."""
    if decimals <= 3:
        return 3 if low > -LARGEST and high < LARGEST else 0
    if low > -LARGEST and high < 10 * LARGEST:
        return 3
    return 4 if low > -TRIPLE * LARGEST and high < TRIPLE * LARGEST else 0


def _places(top: int) -> int:
    """Return how many words whole numbers of up to seven digits take, ``top`` being the greatest."""
    return 1 if top < TRIPLE else 2


def _put_whole(out: Words, values: Ints | Lines, units: Words) -> None:
    """Write whole numbers (n,) into their one or two places."""
    if out.shape[1] == 1:
        out[:, 0] = units.take(values)
        return
    thousands = values // TRIPLE
    out[:, 0] = _THOUSANDS.take(thousands)
    thousands -= thousands > 0  # zeros in front of the units, from index 1000 on
    out[:, 1] = units.take(values - TRIPLE * thousands)


def _split(rest: Index, upper: Index, low: Index) -> None:
    """Divide by a thousand: quotient and remainder into work arrays."""
    np.floor_divide(rest, TRIPLE, out=upper)
    np.multiply(upper, -TRIPLE, out=low)
    np.add(low, rest, out=low)


def _mark(index: Index, where: Index, step: int) -> None:
    """Move the index on, to another part of the table, by ``step`` times ``where`` (which is used up)."""
    np.multiply(where, step, out=where)
    np.add(index, where, out=index)
