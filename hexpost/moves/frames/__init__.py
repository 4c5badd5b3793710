"""In which coordinates a block is written.

In: the words for work offset, tool length, tool change and machine coordinates, with the setup and the tools.
Out: the runs of blocks that share a frame, the ``Frame`` of each, and a pose seen from another frame.
Idea: what a frame depends on is a ``Key`` (offset, length, row H, tool, preset), which packs into one number, so that
keys form a column. ``FrameBook`` makes the frame of a key once. ``chain.py`` holds the rotary axes of another five-axis
machine, whose words a program may be written in.
Rule: a change of frame moves nothing. The platform stays where it is, and its place is given in the new frame:
target_from_tip' = target_from_base base_from_source source_from_tip tip_from_tip'.
Start with ``book.py``; ``runs.py`` says when a frame changes.
"""
