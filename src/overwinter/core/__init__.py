"""The rules, and nothing but the rules: readings and commands in, decisions and events out.

Nothing in this room sees a clock, a file, a thread, a network or a logger, so that the same lines run in the
pump house, in a rehearsal and in a test. `turn` is the door.
"""
