"""Work side by side: many independent tasks in this process, on the cores of this computer, or on a cluster.

In: tasks, the function that does one, and an engine: here, processes, or the workers of a scheduler.
Out: the result of each task with its index, as they finish, or all of them in the order of the tasks.
Idea: a task knows nothing of the others; what depends on order is done by whoever asked, in order.
Rule: the same bytes come out whatever runs the tasks, on any number of cores. What kills a worker costs the result of
its own task and no other.
Start with ``run.py``; ``engines.py`` is where tasks run, and the one place that counts cores, ``cluster.py`` the same
for a scheduler's workers. ``ordered.py`` is for one stream whose results are wanted in order, with large arrays.
``leash.py`` sees to it that no worker is left behind.
"""
