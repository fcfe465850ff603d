"""What this pump house has taught the guard about itself, and what it concludes: learning, faults, forecast.

Pure as `core/` is: no clock, no file, no package. It is fed with spans, one a minute or so, by the wheel
in the pump house and by `replay` from a logbook, and cannot tell which. It never steers heat.
"""
