"""Setting up a job: align to a probed part, place it, choose the yaw, calibrate the machine.

In: probed points, measured poses, or a job that may run elsewhere on the pallet or turned about its tool.
Out: setup and machine files with where they come from; reports of how far to trust them.
Idea: least squares where something was measured, search where something is free. A placement or a yaw is judged by the
whole pipeline, with a coarser period first; there is no second model of the limits.
Rule: a fit minimises residuals of the measurement itself, sum of w |p - (R q + t)|^2 for points; its covariance says
which unknowns the data determine. The best of a search is never worse than what was there before.
Start with ``points.py`` for a fit, ``trial.py`` for a search, ``calibrate.py`` for the machine.
"""
