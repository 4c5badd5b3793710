"""Blocks that stand for several, written out as words.

In: a ``Sheet``, and which of its blocks are a fixed cycle, a reference return, a preset, or a tool change with a pose
of its own.
Out: sheets of plain blocks, each with the block that it came from.
Idea: a cycle becomes words, not moves. Its rows take the same way as if somebody had written them; a hole and its twin
written out are equal bit for bit.
Rule: only blocks that must know where the tool is cut a window; all others stay columns.
Start with ``expand.py``; ``hole.py`` holds the table of fixed cycles, ``cycles.py`` what is in force between holes.
"""
