"""Moves to a six-coordinate path, corners rounded within tolerance.

In: ``Moves``: straight moves and arcs from end to end, and where the tool must rest.
Out: ``ToolPath``: pieces (rest of a line, arc, quintic, corner) one after the other, in spans from stop to stop.
Idea: what two moves disagree on at their common end is carried by one quintic that meets position, first and second
derivative on both sides. Dense chains of short lines are freed of rounding noise first, and carry their curvature on.
Where planning finds that it gains, a chain becomes one smooth curve, fitted over millimetres whatever
the density of its vertices (``chains.py``); both run over one parameter, which bounds their distance both ways.
Rule: the parameter is metric, ds^2 = |dp|^2 + (rho da)^2, with rho the ratio of the corner tolerances of tip and tilt.
No point of the path is farther from the program than the corner tolerance; the end of a span is met exactly.
Start with ``build.py``, then ``runs.py``, ``chains.py``, ``splice.py``.
"""
