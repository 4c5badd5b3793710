"""Characters to words and blocks, each with its place in the text.

In: the bytes of a part program.
Out: ``Program``: letter, value, line and column of every word, as columns; syntax faults beside it.
Idea: two readers. The fast one takes all plain lines of a window at once with array operations; every line that it
leaves goes to the parser that Lark makes of the grammar, and only the parser says that a line is wrong.
Rule: the grammar is the one authority. What the fast reader knows of bytes is a table; the tests ask the compiled
grammar for all of it, and hold both readers equal on random text.
Start with ``read.py``.
"""
