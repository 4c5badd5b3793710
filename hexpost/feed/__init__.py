"""Speed along the path, within feed, tool-tip and jerk limits, and within the struts where that is asked.

In: ``ToolPath``, feeds and dwells of the program, limits of the machine; the mode (as programmed, strut-limited).
Out: ``Timing``: motion along the path as a function of time; every span takes a whole number of ticks.
Idea: separable bounds. Each stretch of the path has a cap of speed and one of acceleration; two running minima,
forwards and backwards, are the fastest speed under both. An average over a window of time limits the jerk. Samples
that are still over a limit lower the bounds that made them so, and the span is planned again. Strut-limited spans are
looked at between the ticks, too; each is as programmed where that keeps the struts and is as short. Where they lose
time, a convex program says how much faster each place can be run (``optimal.py``). Of a path with a few other curves
only what lies about these is planned again (``patches.py``).
Rule: v^2 at the next edge <= v^2 + 2 u D (D the length of the stretch, u its acceleration); after the average over a
window T the jerk is (u(t) - u(t - T)) / T. Planning cannot fail: a tool that rests keeps every bound.
Start with ``plan.py``; the speed itself is ``minima.py``, limits of the struts enter in ``struts.py`` and
``thrusts.py``, of lines from rest to rest in ``straights.py``.
"""
