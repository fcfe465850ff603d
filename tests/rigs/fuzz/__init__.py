"""A real guard under a hundred thousand hostile messages: tests/rigs/test_fuzz.py is the test.

`guarded` runs the guard, `measured` says how late it is of its own, `storm` holds the clients, `trial` is the
whole course. `python -m tests.rigs.fuzz.guided` lets coverage guide the search through what reads a line
(needs atheris).
"""
