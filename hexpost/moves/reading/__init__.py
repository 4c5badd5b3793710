"""What each word says by itself, before any block is joined to the ones ahead of it.

In: the words of a window as they are in the text (``Extract``).
Out: the words as they are to be read, as a ``Sheet`` with at most one word of a letter or group in a block.
Idea: a shop's own words become plain ones (``dialect.py``), implied decimal points are put in (``implied.py``),
unknown, repeated and impossible words are reported and left out (``checks.py``), dwells take their times
(``dwells.py``).
Rule: after this chapter nobody asks how a word was written. A later step knows groups, codes and values.
Start with ``checks.py``, ``read_sheet``.
"""
