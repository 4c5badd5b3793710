"""The survey of a library: what its programs need before they can be read, asked once for all of them.

In: paths of programs, the files that they are read with (machine, tools, setup, policy).
Out: one survey: unknown words, units, tools and offsets, readings that matter, extents, programs that no setting makes
readable; as text, JSON or a page, and as drafts of a machine, a tools and a setup file for a person to decide.
Idea: a program that is refused is read a second time as if every open question had been answered. What is still wrong
then is wrong with its text; the rest are questions, and they are the same for many programs.
Rule: a survey decides nothing. A draft holds no ``ignore`` and no invented length, and what is decided is kept.
Start with ``look.py``, what a worker does with one program; ``gather.py`` joins what was seen, ``drafts.py`` writes.
"""
