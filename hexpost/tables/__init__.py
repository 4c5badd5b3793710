"""The job folder: setpoint table, events, segments, manifest; written whole or not at all.

In: batches of ``Setpoints``, the events of the program, the inputs as bytes.
Out: files under their final names, and last the manifest with size and SHA-256 of each.
Idea: setpoints become whole numbers of the table's last decimal once, and every format (CSV, npy, Parquet) is made of
these, so that all hold the same numbers. Files are written beside their place, made durable, then renamed.
Rule: a folder without a manifest is not a job. Lengths and speeds to 1e-6, accelerations to 1e-3, ties to even.
A job that replaces another is built beside it and exchanged; only files that a job lists, unchanged, are removed.
Start with ``job.py`` for the folder, ``table.py`` for the numbers.
"""
