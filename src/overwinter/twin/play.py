"""A scripted cold night: a house, its weather, sensors and relay, as the guard meets them in a demonstration.

Rule 1: the house lives by simulated time. It is brought up to date whenever somebody looks or acts, in
steps of one length, so that what happened does not depend on who looked when.
Rule 2: any thread may read or drive: all of it happens under one lock.
Rule 3: nothing here knows a band, an alarm or a rule.
"""

import threading

from overwinter.core.nouns import HeaterSpec, Reading, RelaySpec, Role, SensorSpec, Site
from overwinter.twin.clock import ScaledClock
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.sensor import Fault, Place, SimulatedSensor
from overwinter.twin.weather import HOUR_S, cold_night

STEP_S = 5.0
"""How far the house may run ahead of the clock: half of the usual pace of sensing."""

HOUSE = "timber shed"
"""It turns its heater on about once an hour: something happens, and an owner can follow it."""


class Play:
    """One house in one cold night. The control sensor is lost for a while, and found again."""

    def __init__(
        self,
        speed: float,
        seed: int,
        *,
        lost_at_h: float = 5.0,
        found_at_h: float = 6.5,
        clock: ScaledClock | None = None,
    ) -> None:
        """Raise the curtain: six in the evening, 6 °C in the house.

        Parameters
        ----------
        speed : float
            Simulated seconds for each real one.
        seed : int
            Draws the house, the weather and the sensors.
        lost_at_h, found_at_h : float
            From when to when the control sensor does not answer [h].
        clock : ScaledClock, optional
            This one instead of a `ScaledClock(speed)`.
        """
        self.clock = ScaledClock(speed) if clock is None else clock
        self.house = House(HOUSES[HOUSE], seed, start_c=6.0)
        self.relay = SimulatedRelay(self)
        self._lock = threading.Lock()
        self._weather = cold_night(seed=seed)
        self._lost_s = (lost_at_h * HOUR_S, found_at_h * HOUR_S)
        by_pump = SimulatedSensor("by the pump", self.house, seed, failed_share=0.05, spike_share=0.005)
        on_pipe = SimulatedSensor("on the pipe", self.house, seed, "wire-like", place=Place.PIPE)
        outdoors = SimulatedSensor("outdoors", self.house, seed, "wire-like", place=Place.OUTDOOR)
        self._by_pump = by_pump
        self.drivers = {sensor.name: StageDriver(self, sensor) for sensor in (by_pump, on_pipe, outdoors)}
        """The driver of each sensor of `site`."""
        self.site = Site(
            name="a simulated pump house",
            sensors=(
                SensorSpec(name=by_pump.name, role=Role.CONTROL, kind="simulated"),
                SensorSpec(name=on_pipe.name, role=Role.EXTRA, kind="simulated", at="pipe"),
                SensorSpec(name=outdoors.name, role=Role.OUTDOOR, kind="simulated"),
            ),
            relay=RelaySpec(kind="simulated"),
            heater=HeaterSpec(watts=HOUSES[HOUSE].heater_w, kind="air", limiter=True),
        )

    def read(self, sensor: SimulatedSensor, now_s: float) -> Reading:
        """What this sensor says at `now_s`."""
        with self._lock:
            self._live_until(now_s)
            begins_s, ends_s = self._lost_s
            self._by_pump.fault = Fault.LOST if begins_s <= now_s < ends_s else Fault.NONE
            return sensor.read(now_s)

    def switch(self, relay: "SimulatedRelay", heat: bool) -> None:
        """Live until now with the relay as it was, then change it."""
        with self._lock:
            self._live_until(self.clock.now_s())
            relay.heat = heat

    def _live_until(self, now_s: float) -> None:
        house, heat, weather = self.house, self.relay.heat, self._weather
        while house.elapsed_s <= now_s:
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
