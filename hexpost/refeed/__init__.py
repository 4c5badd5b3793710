"""The same program with feeds that the struts can hold, as F words.

In: a program and the findings of its audit.
Out: the text of a program, byte for byte the old one but for F words (and cuts of long blocks, where they are asked);
for audits, pages and the gate the same feeds as advice.
Idea: lower the feeds as they are worked out, audit again, until nothing is left that a lower feed would fix; then raise
them again as far as the audit stays as it is; then see how much more is too much.
Rule: what is written is what was audited. Refeeding a result changes nothing; a limit that a block breaks at any feed
slows nothing down.
Start with ``search.py``; ``lower.py`` writes what it finds, ``text.py`` rewrites the words. What an audit advises of it
is put together in ``hexpost.advised``.
"""
