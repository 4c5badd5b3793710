"""The same program with feeds that the struts can hold, as F words.

In: a program and the findings of its audit.
Out: the text of a program, byte for byte the old one but for F words (and cuts of long blocks, where they are asked).
Idea: lower the feeds as the audit advises, audit again, until nothing is left that a lower feed would fix; then raise
them again as far as the audit stays as it is.
Rule: what is written is what was audited. Refeeding a result changes nothing; a limit that a block breaks at any feed
slows nothing down.
Start with ``lower.py``; ``text.py`` rewrites the words.
"""
