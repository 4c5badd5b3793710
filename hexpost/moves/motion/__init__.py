"""Where each block goes, how fast, and what happens beside it.

In: ``Blocks`` (words and modes of a window) and the frames.
Out: ``Steps``, the blocks that move as columns, with their arcs and feeds; the ``Events`` beside them; what is in force
over runs of moves (``in_force.py``); at last the ``Moves`` of the whole program.
Idea: first the ends of all blocks (``positions.py``), then arcs (``arcs.py``), feeds (``feeds.py``), the moves that are
left (``steps.py``), events (``events.py``), each for all blocks at once.
Rule: a move has a way. A block that neither moves the tip nor turns the tool is no move, and its events belong to the
move before.
Start with ``positions.py``.
"""
