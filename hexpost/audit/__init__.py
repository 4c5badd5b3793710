"""One check per limit: which block breaks it, which strut, by how much.

In: batches of ``Setpoints`` as they stream by; the program and its meaning for rules that need no samples.
Out: ``AuditResult``: findings worst first, the worst use of every limit by every strut, remarks; what the machine does
beside its limits (``behaviour.py``).
Idea: a check turns a batch of samples into values and a band that they must stay in. Runs of samples beyond it become
findings, one for each block of the program, limit and strut. Checks that need more than the solver hands on (struts as
vectors, loads) share one that is worked out once a batch, and look closely only at samples that can matter. Speed,
acceleration and jerk are bounded between samples from the schedule, and looked at there where a limit is near.
Rule: use of a limit = |value - centre| / scale: 1 at a bound, more beyond it.
Start with ``limits.py`` (the table of limits), then ``checks.py``, ``band.py`` and ``audit.py``.
"""
