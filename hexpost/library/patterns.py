"""Patterns of paths: ``*`` and ``?`` stay within a folder, ``**`` goes over folders."""

import re
from collections.abc import Callable
from functools import lru_cache, partial

_PIECES = re.compile(r"\*\*/|\*\*|\*|\?|[^*?]")
_MEANING = {"**/": r"(?:.*/)?", "**": r".*", "*": r"[^/]*", "?": r"[^/]"}
_FEW = 2
"""With so many stars a regular expression takes at most the square of a path's length."""


@lru_cache(maxsize=1024)
def _matcher(pattern: str) -> Callable[[str], object]:
    """Return what finds whether a whole path fits; without a ``/`` a pattern fits in any folder."""
    pattern = pattern.removeprefix("./")
    if "/" not in pattern:
        pattern = "**/" + pattern
    pieces = _PIECES.findall(pattern)
    if sum("*" in p for p in pieces) <= _FEW:
        return re.compile("".join(_MEANING.get(p) or re.escape(p) for p in pieces), re.DOTALL).fullmatch
    return partial(_steps, *_automaton(pieces))


def fits(path: str, pattern: str) -> bool:
    """Return whether a path (``/`` between folders) fits the pattern; the time is at most length times length."""
    return bool(_matcher(pattern)(path))


def _automaton(pieces: list[str]) -> tuple[dict[str, int], tuple[int, int, int, int], int]:
    """Return a pattern with many stars as sets of states, one bit each: the number of characters read of it.

    In: which states a character leads on from; those of ``?``, ``*``, ``**`` and ``**/``; and the number of states.
    """
    count, on, kinds = 0, dict[str, int](), {"?": 0, "*": 0, "**": 0, "**/": 0}
    for p in pieces:
        if p in ("*", "**", "**/"):
            kinds[p] |= 1 << count
        elif p == "?":
            kinds[p] |= 1 << count
            count += 1
        else:
            on[p] = on.get(p, 0) | 1 << count
            count += 1
    return on, (kinds["?"], kinds["*"], kinds["**"], kinds["**/"]), count


def _steps(on: dict[str, int], kinds: tuple[int, int, int, int], count: int, path: str) -> bool:
    """Return whether the automaton (Thompson 1968, Communications of the ACM 11(6)) takes the whole path.

    A star keeps its state alive while characters pass; ``**/`` revives its state after each ``/``.
    """
    one, star, both, folders = kinds
    now, waiting = 1, folders & 1
    for c in path:
        step = (now & (on.get(c, 0) | (0 if c == "/" else one))) << 1
        now = step | (now & both) | (0 if c == "/" else now & star)
        if c == "/":
            now |= waiting
        waiting |= now & folders
    return bool(now >> count & 1)
