"""The gate: many programs, each checked alone, judged by one policy.

In: paths of programs, a policy (TOML), a baseline of accepted findings.
Out: one result: a case a program (pass, fail, error), as text, JSON, SARIF, JUnit or a page, in order of path.
Idea: a worker checks one program and hands back a record of what it does; a record knows nothing of levels or of the
baseline. Judging comes after, so that a change of policy computes nothing anew. Records are kept by the hash of all
that they depend on.
Rule: the same bytes whatever runs where: here, in processes, on a cluster, in shards, from the cache. A program that
kills its worker costs its own result and no other.
Start with ``gate.py``; ``check.py`` is what a worker does, ``judge.py`` what comes after.
"""
