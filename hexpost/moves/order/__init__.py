"""Which blocks of a program run, and in which order.

In: a ``Program``, the switches of the operator, and the dialect (a shop may have its own words for a call or the end).
Out: extracts of at most about a window of blocks, in the order in which they run; subprograms that nothing calls.
Idea: a subprogram is laid out as row numbers. So its size and depth are known, and refused where they are too large,
before any block is interpreted.
Rule: this chapter reads only what decides the order (M02 M30 M98 M99, O, ``/``). It gives no word a meaning.
Start with ``route.py``.
"""
