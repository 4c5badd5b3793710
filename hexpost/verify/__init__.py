"""Prove a finished job folder again from its files alone.

In: a job folder: manifest, table, events, segments, report, copies of the inputs; or a table that has no folder yet.
Out: a ``Proof``: one check for each thing that was looked at, with what was found, and the faults.
Idea: one pass over the rows. Six lengths give a pose; poses are compared with the curves of the program, speeds and
accelerations with each other and with the limits, events and segments with the rows at which they are. Settings and
report are read as claims: they are bounded, or found again, and nothing is believed of them.
Rule: shared with what wrote the job is only the reading of inputs. All arithmetic is written again, on purpose by other
formulae; an import rule keeps it so.
Start with ``verify.py``, then ``equations.py``.
"""
