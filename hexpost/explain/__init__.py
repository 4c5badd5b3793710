"""What was understood of a program, and what two revisions of one mean differently.

In: a program that was interpreted; for a difference, two.
Out: one document a block (what is in force, where the tip is, what moves); a list of differences of meaning.
Idea: the program is interpreted once more, block by block, with the same interpreter. Two revisions are compared as
tables of what they mean, row against row, not as text.
Rule: rows match within a tolerance, in the same order, by patience sorting: rows that occur once on either side are
anchors, and the gaps between them are settled by the longest common subsequence.
Start with ``blocks.py``, then ``difference.py``.
"""
