"""Machine, tools and setup files: TOML to frozen data, all faults in one go.

In: TOML files of bounded size; without them the demonstration machine, no tools, no offsets.
Out: ``Machine``, ``Tools``, ``Setup``: frozen, in mm, s and rad.
Idea: a table is read key by key by getters that know unit and range. A wrong key is noted with its path, a stand-in
goes on, and at the end all faults are raised together. Unknown keys are refused.
Rule: the unit is in the name of the key, ``stroke_mm``. A machine must hold its platform at its own reference pose:
lengths within the strokes, and the smallest singular value of the Jacobian at least 1e-4 of the largest.
Start with ``load.py``; a new table is a function in ``tables.py``.
"""
