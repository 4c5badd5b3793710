"""How the tool turns between the ends of a block, where A B C in proportion are not what is meant.

In: moves whose rotary words are those of another five-axis machine (``foreign.py``), or that must follow the great
circle of the tool axis (``great_circle.py``).
Out: the same moves in pieces so short that a straight one is near enough, and where each move went.
Idea: the deviation falls with the square of the number of pieces, so one trial says how many are needed.
Rule: a piece leaves the way that is meant by at most 0.001 mm and 0.002 degrees (``refine.py``).
Start with ``turning.py``, which the interpreter calls.
"""
