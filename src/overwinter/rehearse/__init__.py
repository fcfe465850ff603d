"""A winter rehearsed: the guard's own wheel, core, settings and logbook, with a clock that is only counted.

What lives here is what surrounds a guard in simulated time: the clock, the disk, the house with its faults,
and what is made of the outcome. No rule about heat lives here, no real clock, no thread, and no chance
without a seed: the same scenario and seed write the same logbook, byte by byte.
"""
