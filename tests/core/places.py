"""Sensors by their places."""

from overwinter.core.nouns import Role
from tests.core.rig import DOOR, OUTSIDE, PUMP, sensor

TANK = "by the tank"

TWO = (sensor(PUMP), sensor(DOOR))

THREE = (*TWO, sensor(TANK))

WITH_OUTSIDE = (sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR))
