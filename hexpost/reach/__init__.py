"""What a machine can do at each place: reach, tilt, feeds, stiffness; maps and pictures of it; the circle test.

In: a machine file, and the steps of a grid of places.
Out: ``Places``: for each place of the spindle's gauge point what holds there; a table, a page of maps, an SVG picture.
Idea: arithmetic at many places at once, no programs. Figures are for the worst direction, so they hold for every move.
Rule: the feed of a place is the least, over the struts, of speed limit / |row of the Jacobian|; conditioning is 6 /
(|J| |J^-1|): 1 for a platform held evenly, 0 for one that is not held. ``standing.py`` refuses what cannot be meant.
Start with ``places.py``.
"""
