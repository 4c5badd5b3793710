"""What a program needs before it can be read: its words counted, not yet understood.

In: the words of a program as the dialect reads them (``WordColumns``), the faults that were found in it.
Out: words that nothing reads with what is beside them, tools, rows and offsets, readings that matter, extents.
Idea: counting needs no meaning, so it works for programs that cannot be read, too. Only extents come from moves.
Rule: nothing is decided here, and nothing is refused.
Start with ``counts.py``; ``matters.py`` finds words whose meaning the machine file settles.
"""
