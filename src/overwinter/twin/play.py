"""A simulated pump house that a real guard can be put on: house, weather, sensors and relay in one night.

Rule 1: the house lives by simulated time. It is brought up to date whenever somebody looks or acts, in
steps of one length, so that what happened does not depend on who looked when.
Rule 2: any thread may read or drive: all of it happens under one lock.
Rule 3: nothing here knows a band, an alarm or a rule.
"""

import threading
from collections.abc import Mapping
from typing import Protocol

from overwinter.core.nouns import Reading, Role, Site
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.sensor import Fault, Place, SimulatedSensor
from overwinter.twin.weather import cold_night

STEP_S = 5.0
"""How far the house may run ahead of the clock: half of the usual pace of sensing."""

HOUSE = "timber shed"
"""It turns its heater on about once an hour: something happens, and an owner can follow it."""

FAILED_SHARE, SPIKE_SHARE = 0.05, 0.005
"""How often a cheap sensor in the air fails and lies (common practice, no source)."""


class Seconds(Protocol):
    """What the house lives by: `now_s()` of the guard's clock."""

    def now_s(self) -> float:
        """Simulated seconds."""
        ...


class Play:
    """One house in cold nights, with a sensor for each `[[sensor]]` of kind `simulated`."""

    def __init__(
        self,
        site: Site,
        clock: Seconds,
        seed: int,
        *,
        lost: Mapping[str, tuple[float, float]] | None = None,
    ) -> None:
        """Raise the curtain: six in the evening, 6 °C in the house.

        Parameters
        ----------
        site : Site
            Says which sensors there are; those of other kinds are left out.
        clock : Seconds
            Its time at this moment is the evening's beginning.
        seed : int
            Draws the house, the weather and the sensors.
        lost : mapping, optional
            From when to when a sensor, by name, does not answer [s since the beginning].
        """
        self.house = House(HOUSES[HOUSE], seed, start_c=6.0)
        self.relay = SimulatedRelay(self)
        self._clock = clock
        self._began_s = clock.now_s()
        self._lock = threading.Lock()
        self._weather = cold_night(seed=seed)
        self._lost = lost or {}
        self.drivers = {
            spec.name: StageDriver(self, _sensor(spec.name, _place(spec.role, spec.at), self.house, seed))
            for spec in site.sensors
            if spec.kind == "simulated"
        }
        """The driver of each simulated sensor, by name."""

    def read(self, sensor: SimulatedSensor, now_s: float) -> Reading:
        """What this sensor says at `now_s`."""
        with self._lock:
            self._live_until(now_s)
            begins_s, ends_s = self._lost.get(sensor.name, (0.0, 0.0))
            is_lost = begins_s <= now_s - self._began_s < ends_s
            sensor.fault = Fault.LOST if is_lost else Fault.NONE
            return sensor.read(now_s)

    def switch(self, relay: "SimulatedRelay", heat: bool) -> None:
        """Live until now with the relay as it was, then change it."""
        with self._lock:
            self._live_until(self._clock.now_s())
            relay.heat = heat

    def _live_until(self, now_s: float) -> None:
        house, heat, weather = self.house, self.relay.heat, self._weather
        until_s = now_s - self._began_s
        while house.elapsed_s <= until_s:
            house.advance(STEP_S, heat, weather(house.elapsed_s))


class SimulatedRelay:
    """The relay of a play; released at first, and a released contact gives no heat."""

    def __init__(self, play: Play) -> None:
        """Belongs to `play`."""
        self.heat = False
        self._play = play

    def drive(self, heat: bool) -> None:
        """Heat on or off from now."""
        self._play.switch(self, heat)

    def feedback(self) -> bool | None:
        """Nothing: there is no such input."""
        return None

    def close(self) -> None:
        """Release it."""
        self.drive(heat=False)


class StageDriver:
    """Reads one sensor of a play, from any thread."""

    def __init__(self, play: Play, sensor: SimulatedSensor) -> None:
        """Belongs to `play`."""
        self._play = play
        self._sensor = sensor

    def read(self, now_s: float) -> Reading:
        """One attempt; never raises."""
        return self._play.read(self._sensor, now_s)

    def unstick(self) -> None:
        """Nothing: it never hangs."""

    def close(self) -> None:
        """Nothing: it holds nothing."""


def _place(role: Role, at: str) -> Place:
    if role is Role.OUTDOOR:
        return Place.OUTDOOR
    return Place.PIPE if at == "pipe" else Place.AIR


def _sensor(name: str, place: Place, house: House, seed: int) -> SimulatedSensor:
    if place is Place.AIR:
        return SimulatedSensor(name, house, seed, failed_share=FAILED_SHARE, spike_share=SPIKE_SHARE)
    return SimulatedSensor(name, house, seed, "wire-like", place=place)
