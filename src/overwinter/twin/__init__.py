"""The twin: a pump house, its weather and its sensors, simulated.

What lives here answers the same calls as the real thing and is the same every time: no real clock (one
named exception, `clock.py`) and no chance without a seed.
"""
