"""Patterns of paths: ``*`` and ``?`` stay within a folder, ``**`` goes over folders."""

import re
from functools import lru_cache

_PIECES = re.compile(r"\*\*/|\*\*|\*|\?|[^*?]+")
_MEANING = {"**/": r"(?:.*/)?", "**": r".*", "*": r"[^/]*", "?": r"[^/]"}


@lru_cache(maxsize=1024)
def compiled(pattern: str) -> re.Pattern[str]:
    """Return the pattern as a regular expression for whole paths with ``/``; without a ``/`` it fits in any folder."""
    pattern = pattern.removeprefix("./")
    if "/" not in pattern:
        pattern = "**/" + pattern
    return re.compile("".join(_MEANING.get(p) or re.escape(p) for p in _PIECES.findall(pattern)), re.DOTALL)


def fits(path: str, pattern: str) -> bool:
    """Return whether a path (``/`` between folders) fits the pattern."""
    return compiled(pattern).fullmatch(path) is not None
