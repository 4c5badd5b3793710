"""The stage from words to moves: what a program means.

In: a ``Program`` (words as columns, in the order of the text), the machine, its tools and its setup.
Out: an ``Interpretation``: moves and events as columns, the frames they are written in, what is in force over runs of
moves, and how ambiguous words were read.
Idea: all blocks of a window go through one step together. A step takes columns and hands on columns. What stays in
force from one window to the next is in ``window/state.py`` and nowhere else, so time and memory follow the blocks.

    order/        which blocks run, in which order
    reading/      what each word says by itself
    window/       what every step sees of a window of blocks
    expanding/    one block that means several: cycles, returns, tool changes
    frames/       in which coordinates a block is written
    motion/       where each block goes, how fast, and what happens beside it
    rotary/       how the tool turns between the ends of a block
    compensation/ the tool centre beside the contour
    needs/        what a program needs before it can be read, counted

Rule: no later stage looks at letters and values of words; it asks what was meant.
Start with ``interpret.py``, which calls the steps in their order; the table of words is the machine's.
"""
