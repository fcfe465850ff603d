"""The house, its weather, its sensors, and everything in it that can break."""

import math
from dataclasses import replace

from overwinter.core.nouns import Arrival, Role, SensorSpec, Settings, Site
from overwinter.physics.envelope import ua_w_k
from overwinter.rehearse.nouns import Fault
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES, built
from overwinter.twin.parameters import HouseParameters
from overwinter.twin.pump import Pump, pump_runs
from overwinter.twin.sensor import Fault as SensorFault
from overwinter.twin.sensor import Place, SimulatedSensor
from overwinter.twin.weather import Sunshine, Weather, sun_gain_w

FAILED_SHARE, SPIKE_SHARE = 0.05, 0.005
"""How often a cheap sensor in the air fails and lies, in the best of health (common practice, no source)."""

LAG_S = {"lamp": 15.0, "air": 60.0, "cable": 300.0}
AIR_SHARE = {"lamp": 0.4, "air": 0.95, "cable": 0.5}
"""By kind of heater, as in the ready-made houses; a cable lies on what it warms (a guess)."""

_FORCED = {
    "sensor-lost": SensorFault.LOST,
    "sensor-stuck": SensorFault.STUCK,
    "sensor-sentinel": SensorFault.SENTINEL,
}


class Stage:
    """One house with what is in it. Time goes by `live`; faults begin and end by `suffer` and `recover`."""

    def __init__(
        self,
        parameters: HouseParameters,
        weather: Weather,
        sensors: tuple[SensorSpec, ...],
        *,
        seed: int,
        start_c: float,
        released_heats: bool,
        sun: Sunshine | None = None,
        pump: Pump | None = None,
    ) -> None:
        self.house = House(parameters, seed, start_c=start_c)
        self.relay = _Relay()
        self.has_power = True
        self.is_driven = True  # a guard is there to hold the relay
        self.heats = False
        self._weather = weather
        self._released_heats = released_heats
        self._outdoor_c = weather(0.0)
        self._weather_s = 60.0  # looked at once a minute
        self._sun, self._sun_w, self._sun_s = sun, 0.0, 0.0
        self._pump, self._pump_runs = pump, None if pump is None else pump_runs(pump, seed)
        self._has_gains = sun is not None or pump is not None
        self._broken: list[Fault] = []
        self._is_dead = self._is_welded = False
        self._drifting: list[Fault] = []
        self._sensors = {spec.name: _sensor(spec, self.house, seed) for spec in sensors}
        self._readers = [sensor.read for sensor in self._sensors.values()]

    @property
    def outdoor_c(self) -> float:
        """Outdoors now."""
        return self._outdoor_c

    def live(self, elapsed_s: float, pieces: int, *, now_s: float) -> None:
        """Let `elapsed_s` pass in so many steps, which end at `now_s` since the beginning."""
        if now_s >= self._weather_s:
            self._weather_s = now_s + 60.0
            self._outdoor_c = self._weather(now_s)
            for fault in self._drifting:
                self._drift(fault, now_s)
        self.heats = heats = self._is_heated()
        if self._has_gains:
            self._live_with_gains(elapsed_s, pieces, now_s=now_s)
            return
        for _ in range(pieces):
            self.house.advance(elapsed_s / pieces, heats, self._outdoor_c)

    def _live_with_gains(self, elapsed_s: float, pieces: int, *, now_s: float) -> None:
        """The same with sun and pump; the sun is looked at as often as the weather."""
        house, step_s, pump = self.house, elapsed_s / pieces, self._pump
        if self._sun is not None and now_s >= self._sun_s:
            self._sun_s = now_s + 60.0
            self._sun_w = sun_gain_w(self._sun(now_s), house.parameters.envelope_outdoor_w_k)
        runs = self._pump_runs is not None and self.has_power and self._pump_runs(now_s)
        for _ in range(pieces):
            house.advance(step_s, self.heats, self._outdoor_c)
            if runs or self._sun_w:
                house.gain(step_s, sun_w=self._sun_w, pump=pump if runs else None)

    def read(self, up_s: float) -> list[Arrival]:
        """What all the sensors say, by the guard's clock."""
        return [read(up_s) for read in self._readers]

    def power_up(self) -> None:
        """The power has come back."""
        self.has_power = True
        for sensor in self._sensors.values():
            sensor.power_up()

    def suffer(self, fault: Fault) -> None:
        """It begins."""
        self._broken.append(fault)
        if fault.kind == "sensor-drifting":
            self._drifting.append(fault)
        self._settle(fault)

    def recover(self, fault: Fault) -> None:
        """It is over."""
        self._broken.remove(fault)
        if fault in self._drifting:
            self._drifting.remove(fault)
        self._settle(fault)

    def _is_heated(self) -> bool:
        if not self.has_power or self._is_dead:
            return False
        return self._is_welded or (self.relay.heat if self.is_driven else self._released_heats)

    def _is(self, kind: str) -> bool:
        return any(fault.kind == kind for fault in self._broken)

    def _settle(self, fault: Fault) -> None:
        """Bring what this fault concerns to what is broken now: faults of one thing may overlap."""
        self._is_dead, self._is_welded = self._is("heater-dead"), self._is("contact-welded")
        if fault.kind == "door-open":
            self.house.open_door(
                max([one.by for one in self._broken if one.kind == "door-open"], default=0.0)
            )
        if fault.sensor is None:
            return
        sensor = self._sensors[fault.sensor]
        here = [one for one in self._broken if one.sensor == fault.sensor]
        sensor.fault = next((_FORCED[one.kind] for one in here if one.kind in _FORCED), SensorFault.NONE)
        sensor.bias_k = sum(one.by for one in here if one.kind == "sensor-wrong")
        usual = SPIKE_SHARE if sensor.is_cheap else 0.0
        sensor.spike(max([one.by for one in here if one.kind == "sensor-spiking"], default=usual))

    def _drift(self, fault: Fault, now_s: float) -> None:
        assert fault.sensor is not None
        share = min((now_s - fault.at_s) / fault.for_s, 1.0) if math.isfinite(fault.for_s) else 0.0
        others = [one for one in self._broken if one.sensor == fault.sensor and one.kind == "sensor-wrong"]
        self._sensors[fault.sensor].bias_k = fault.by * share + sum(one.by for one in others)


class _Relay:
    """The relay; released at first."""

    def __init__(self) -> None:
        self.heat = False

    def drive(self, heat: bool) -> None:
        """Heat on or off from now."""
        self.heat = heat

    def feedback(self) -> bool | None:
        """Nothing: there is no such input."""
        return None

    def close(self) -> None:
        """Release it."""
        self.heat = False


def parameters_of(site: Site | None, name: str) -> tuple[HouseParameters, tuple[str, ...]]:
    """The house of site.toml as far as it says, else a ready-made one; and what was assumed, in words."""
    ready = HOUSES[name]
    heater_w = None if site is None else site.heater.watts
    if site is None or site.building is None or not site.building.parts or site.building.volume_m3 is None:
        if heater_w is None or site is None:
            return ready, (f"a ready-made house: {name}, {ready.heater_w:g} W",)
        said = replace(
            ready,
            heater_w=heater_w,
            heater_lag_s=LAG_S[site.heater.kind],
            heater_to_air_share=AIR_SHARE[site.heater.kind],
        )
        return said, (f"a ready-made house, {name}, with your heater of {heater_w:g} W",)
    building, kind = site.building, site.heater.kind
    assert building.volume_m3 is not None
    found = ua_w_k(building)
    area_m2 = sum(part.area_m2 for part in building.parts)
    through_parts_w_k = sum(part.ua_w_k for part in found.parts)
    assumed = [*found.missing]
    changes_h = building.air_changes_h
    if changes_h is None:
        changes_h = 1.0
        assumed.append("1 air change an hour")
    if heater_w is None:
        heater_w = ready.heater_w
        assumed.append(f"a heater of {heater_w:g} W")
    assumed.append("walls, pump, tank, floor and ground as in a timber shed of that size")
    scale = building.volume_m3 / 15.0  # of the timber shed
    parameters = built(
        volume_m3=building.volume_m3,
        area_m2=area_m2,
        u_w_m2k=min(through_parts_w_k / area_m2, 7.0),
        lining_j_m2k=12_000.0,
        air_changes_h=changes_h,
        heater_w=heater_w,
        heater_lag_s=LAG_S[kind],
        heater_to_air_share=AIR_SHARE[kind],
        mixing_w_k=max(15.0, 200.0 * scale),
        contents_j_k=max(150_000.0, 700_000.0 * scale),
        ground_w_k=max(1.0, 5.0 * scale),
        ground_c=3.0,
    )
    return parameters, ("your building of site.toml", *assumed)


def perfect_heat(coldest_c: float, settings: Settings, *, was_on: bool) -> bool:
    """What a thermostat that knows the truth would do in this band: what no guard can do better."""
    return coldest_c <= settings.low_c or (was_on and coldest_c < settings.high_c)


def _sensor(spec: SensorSpec, house: House, seed: int) -> SimulatedSensor:
    if spec.role is Role.OUTDOOR:
        return SimulatedSensor(spec.name, house, seed, "wire-like", place=Place.OUTDOOR)
    if spec.at == "pipe":
        return SimulatedSensor(spec.name, house, seed, "wire-like", place=Place.PIPE)
    return SimulatedSensor(spec.name, house, seed, failed_share=FAILED_SHARE, spike_share=SPIKE_SHARE)
