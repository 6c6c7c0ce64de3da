"""Long work, carried by this process, by several, or by Dask: the same results whichever carries it.

A job is a function at the top of a module, a task whatever it takes; both must pickle. Results come in the order of
the tasks, as each is ready. Jobs hold no state and draw no randomness of their own: a task that needs some is given
one of `seeds`.
"""
