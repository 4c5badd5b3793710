"""Work side by side: many independent tasks in this process, on the cores of this computer, or on a cluster.

In: tasks, and the function that does one. Out: the result of each with its index, as they finish; what depends on
order is put back in order by whoever asked. The idea: a task knows nothing of the others, so the same bytes come out
whatever runs it, on any number of cores. What kills a worker costs its own result and nothing else.

``engines`` says where tasks run, and is the one place that counts cores; ``run`` hands them out. Start there.
"""
