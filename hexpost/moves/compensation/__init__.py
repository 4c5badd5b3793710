"""Cutter radius compensation: the tool centre beside the programmed contour.

In: the moves of a whole program, and where it says G40 G41 G42 and D.
Out: the moves of the tool centre, with where each programmed one went.
Idea: all elements are moved aside at once, then corners are settled: rolled around outside, cut off inside. Nothing is
repaired: an element that the cutter cannot reach is refused, as is a contour too narrow for it.
Rule: a cutter may be too large by 0.002 mm, coordinates written to 0.001 mm and twice rounded (``SLACK``).
Start with ``cutter.py``, which the interpreter calls, then ``compensate.py``; ``contour.py`` is the contour as columns.
"""
