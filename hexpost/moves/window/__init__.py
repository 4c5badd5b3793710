"""What every step sees of a window of blocks.

In: the blocks of a window in the order in which they run, as an ``Extract``: letters and values as they are to be
read, each with its way back to the text.
Out: the ``Sheet``, the same words by address letter and by modal group; the ``Modes``, the code in force in each
block; and ``Blocks``, the bundle of both that the later steps take.
Idea: a column a word, never an object a block. A row is a block counted from 0 within its window; ``at`` is a word
counted from 0 within the extract.
Rule: what must outlive a window is a field of ``State``. Faults go through ``Complaints``, which knows the place of
every word and row in the text, and keeps quiet about what only follows from another fault.
Start with ``sheet.py``.
"""
