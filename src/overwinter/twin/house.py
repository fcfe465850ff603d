"""A pump house that obeys the laws of heat: what the guard's heat does to air, walls, pump and pipe.

Rule 1: energy is never made or lost: what enters a node has left another, the heater or the outside.
Rule 2: a step is cheap (a winter has a million) and exact for the outdoor temperature and heat it is
given, so its length hardly matters.
Rule 3: chance (how this house differs from its drawing, and gusts) comes from the seed alone.

Five places store heat, and a sixth delays it:

    heater ─► upper air ◄─mixing─► lower air ◄─► contents (pump, tank, floor) ◄─► ground
                  │  ▲                │  ▲  ▲
                  ▼  └── outdoors ───►┘  │  └─► pipe: water, then ice
               envelope ◄────────────────┘         │ (a pipe fastened to an outer wall)
                  ▲ └──────────────────────────────┘
                  └─► outdoors

Air has two heights because heat rises and pipes lie low: a sensor under the ceiling sees another house.
All but the pipe is linear, so one step is one product with the exponential of its matrix, computed once
for each length of step. The pipe, which freezes, is held for the step and then takes exactly the energy
that the others gave it. Water begins to freeze at 0 °C sharp: still water may supercool some kelvin first,
but nobody may count on that.

Sun on the walls and a pump at work come on top, by `gain`, after the step that they fell into: the network is
linear, so what constant warmth adds to a step is the same as if it had been in it from the beginning.
"""

import math
import random
from dataclasses import fields, replace

from overwinter.twin.network import (
    CONTENTS,
    ENVELOPE,
    GAIN,
    GROUND,
    GUST,
    HEATER,
    LOWER,
    OUTDOOR,
    PIPE,
    POWER,
    UPPER,
    exponential,
    network,
)
from overwinter.twin.parameters import (
    FUSION_J_KG,
    ICE_J_KGK,
    STEP_S_MAX,
    WATER_J_KGK,
    HouseParameters,
)
from overwinter.twin.pump import Pump, flushed_j

STEPS_KEPT = 8
"""Lengths of step whose matrix is remembered; computing one takes some 3 ms."""

GUST_S = 60.0
GUST_MEMORY_S = 300.0
"""The draught changes once a simulated minute, whatever the step, and remembers itself for some minutes."""

DOOR_CHANGES_H_MAX = 60.0
"""An open door in a breeze; what comes in is counted once a step, so it must be small against the air."""

# Saturation over liquid water, Magnus form (coefficients as in Sensirion's note on the dew point, from
# Sonntag 1990); 0.35 % is far better than any sensor of a pump house.
_MAGNUS_PA, _MAGNUS_A, _MAGNUS_B_C = 611.2, 17.62, 243.12

_exp = math.exp


def _saturation_pa(temperature_c: float) -> float:
    return _MAGNUS_PA * _exp(_MAGNUS_A * temperature_c / (_MAGNUS_B_C + temperature_c))


def _as_built(drawn: HouseParameters, chance: random.Random) -> HouseParameters:
    """The house a carpenter makes of the drawing: stores and conductances off by up to `spread_share`."""
    off = drawn.spread_share
    built = {
        field.name: getattr(drawn, field.name) * chance.uniform(1.0 - off, 1.0 + off)
        for field in fields(drawn)
        if field.name.endswith(("_w_k", "_j_k", "_changes_h"))
    }
    return replace(drawn, **built)


class House:
    """One pump house on its way through a winter."""

    __slots__ = (
        "_brought_j",
        "_chance",
        "_contents_c",
        "_door",
        "_elapsed_s",
        "_envelope_c",
        "_gains",
        "_gust",
        "_gust_at_s",
        "_heater_w",
        "_lower_c",
        "_on_s",
        "_outdoor_c",
        "_parameters",
        "_pipe_j",
        "_steps",
        "_upper_c",
        "_vapour_pa",
    )

    def __init__(
        self, parameters: HouseParameters, seed: int, *, start_c: float = 5.0, water_c: float | None = None
    ) -> None:
        """A house at rest, all of it at `start_c` [°C], the pipe's water at `water_c` if that is given."""
        self._chance = random.Random(seed)
        # No draw without spread: the same seed then gives the same gusts as any other drawing.
        self._parameters = _as_built(parameters, self._chance) if parameters.spread_share else parameters
        self._steps: dict[float, tuple[float, ...]] = {}
        self._gains: dict[float, tuple[list[float], list[float]]] = {}
        self._brought_j = 0.0
        self._upper_c = self._lower_c = self._envelope_c = self._contents_c = self._outdoor_c = start_c
        self._heater_w = self._door = 0.0
        self._on_s = self._elapsed_s = 0.0
        self._gust, self._gust_at_s = 0.0, GUST_S if self._parameters.gust_share else math.inf
        self._pipe_j = self._enthalpy_j(start_c if water_c is None else water_c)
        humidity = parameters.outdoor_humidity_pct / 100.0
        self._vapour_pa = humidity * _saturation_pa(start_c)

    @property
    def parameters(self) -> HouseParameters:
        """As built: with this seed's deviations from the drawing."""
        return self._parameters

    @property
    def elapsed_s(self) -> float:
        """How far it has come [s]."""
        return self._elapsed_s

    @property
    def upper_c(self) -> float:
        """The air under the ceiling [°C]."""
        return self._upper_c

    @property
    def lower_c(self) -> float:
        """The air around the pipe [°C]."""
        return self._lower_c

    @property
    def air_c(self) -> float:
        """The air where the sensor hangs [°C]."""
        lower_c = self._lower_c
        return lower_c + self._parameters.sensor_height_share * (self._upper_c - lower_c)

    @property
    def envelope_c(self) -> float:
        """The inside of walls and roof [°C]."""
        return self._envelope_c

    @property
    def contents_c(self) -> float:
        """Pump, tank and floor [°C]."""
        return self._contents_c

    @property
    def outdoor_c(self) -> float:
        """Outdoors, as the last step was told [°C]."""
        return self._outdoor_c

    @property
    def pipe_c(self) -> float:
        """The pipe and what is in it [°C]; 0 for as long as water and ice are there together."""
        joule = self._pipe_j
        parameters = self._parameters
        if joule >= 0.0:
            return joule / (parameters.pipe_water_kg * WATER_J_KGK + parameters.pipe_metal_j_k)
        solid_j = -parameters.pipe_water_kg * FUSION_J_KG
        if joule >= solid_j:
            return 0.0
        return (joule - solid_j) / (parameters.pipe_water_kg * ICE_J_KGK + parameters.pipe_metal_j_k)

    @property
    def ice_share(self) -> float:
        """How much of the pipe's water is ice, 0 to 1."""
        return min(max(-self._pipe_j / (self._parameters.pipe_water_kg * FUSION_J_KG), 0.0), 1.0)

    @property
    def heater_w(self) -> float:
        """The warmth that leaves the heater now [W]; it lags behind the power."""
        return self._heater_w

    @property
    def energy_kwh(self) -> float:
        """Electricity used since the beginning [kWh]."""
        return self._parameters.heater_w * self._on_s / 3.6e6

    @property
    def humidity_pct(self) -> float:
        """Relative humidity where the sensor hangs, over liquid water also below 0 °C [%]."""
        air_c = self.air_c
        share = self._vapour_pa / (_MAGNUS_PA * _exp(_MAGNUS_A * air_c / (_MAGNUS_B_C + air_c)))
        return 100.0 * share if share < 1.0 else 100.0

    @property
    def stored_j(self) -> float:
        """All heat held, counted from everything liquid and at 0 °C [J]."""
        parameters = self._parameters
        return (
            parameters.upper_j_k * self._upper_c
            + parameters.lower_j_k * self._lower_c
            + parameters.envelope_j_k * self._envelope_c
            + parameters.contents_j_k * self._contents_c
            + parameters.heater_lag_s * self._heater_w
            + self._pipe_j
        )

    @property
    def brought_j(self) -> float:
        """What sun and pump have brought since the beginning, the well's water less what it replaced [J]."""
        return self._brought_j

    def open_door(self, air_changes_h: float) -> None:
        """From now on so much more outdoor air comes in [1/h], 0 to 60; 0 closes the door again.

        It comes where the draught does; a house drawn without any has no door either.
        """
        if not 0.0 <= air_changes_h <= DOOR_CHANGES_H_MAX:  # refuses NaN too
            raise ValueError(f"air_changes_h = {air_changes_h}: must be 0 to {DOOR_CHANGES_H_MAX:g}")
        usual = self._parameters.air_changes_h
        self._door = air_changes_h / usual if usual > 0.0 else 0.0

    def advance(self, dt_s: float, heat: bool, outdoor_c: float) -> None:
        """Live through `dt_s` (above 0, at most 60 s) with the heater's power on or off.

        Written out and without calls, since a season has a million steps: under 2 µs each, once this `dt_s`
        has been met. Keep to a few lengths of step.
        """
        try:
            step = self._steps[dt_s]
        except KeyError:
            step = self._prepare(dt_s)
        (
            uu, ul, ue, us, uw, uo, up, ug, u_off, u_on,
            lu, ll, le, ls, lw, lo, lp, lg, l_off, l_on,
            eu, el, ee, es, ew, eo, ep, eg, e_off, e_on,
            su, sl, se, ss, sw, so, sp, sg, s_off, s_on,
            ju, jl, je, js, jw, jo, jp, jg, j_off, j_on,
            heater_kept, heater_on_w, vapour_share, humidity, damp_pa,
            upper_w_k, lower_w_k, water_j_k, ice_j_k, solid_j,
        ) = step  # fmt: skip
        u = self._upper_c
        l = self._lower_c  # noqa: E741
        e = self._envelope_c
        s = self._contents_c
        w = self._heater_w
        joule = self._pipe_j
        if joule >= 0.0:
            p = joule / water_j_k
        elif joule >= solid_j:
            p = 0.0
        else:
            p = (joule - solid_j) / ice_j_k
        o = outdoor_c
        elapsed_s = self._elapsed_s
        if elapsed_s >= self._gust_at_s:
            self._blow()
        self._elapsed_s = elapsed_s + dt_s
        # What the gust adds to the mean draught, as a flow of heat.
        g = (self._gust + self._door) * (upper_w_k * (o - u) + lower_w_k * (o - l))
        if heat:
            self._on_s += dt_s
            u_off, l_off, e_off, s_off, j_off = u_on, l_on, e_on, s_on, j_on
            self._heater_w = w * heater_kept + heater_on_w
        else:
            self._heater_w = w * heater_kept
        self._upper_c = uu * u + ul * l + ue * e + us * s + uw * w + uo * o + up * p + ug * g + u_off
        self._lower_c = lu * u + ll * l + le * e + ls * s + lw * w + lo * o + lp * p + lg * g + l_off
        self._envelope_c = eu * u + el * l + ee * e + es * s + ew * w + eo * o + ep * p + eg * g + e_off
        self._contents_c = su * u + sl * l + se * e + ss * s + sw * w + so * o + sp * p + sg * g + s_off
        self._pipe_j = joule + ju * u + jl * l + je * e + js * s + jw * w + jo * o + jp * p + jg * g + j_off
        self._outdoor_c = o
        vapour_pa = self._vapour_pa
        outdoor_pa = humidity * _MAGNUS_PA * _exp(_MAGNUS_A * o / (_MAGNUS_B_C + o))
        self._vapour_pa = vapour_pa + vapour_share * (outdoor_pa + damp_pa - vapour_pa)

    def gain(self, dt_s: float, *, sun_w: float = 0.0, pump: Pump | None = None) -> None:
        """Add what fell into the step just lived: sun on the inside of the walls, and a pump that runs.

        Parameters
        ----------
        dt_s : float
            The length of that step.
        sun_w : float
            Warmth that the envelope gains [W].
        pump : Pump, optional
            It ran all through the step; None: it stood still. Without flow (a pipe of solid ice) only the
            motor warms.
        """
        gains = self._gains.get(dt_s) or self._prepare_gains(dt_s)
        parameters = self._parameters
        things_w = 0.0
        if pump is not None:
            water_j_k = parameters.pipe_water_kg * WATER_J_KGK + parameters.pipe_metal_j_k
            solid_j = -parameters.pipe_water_kg * FUSION_J_KG
            joule = self._pipe_j
            things_w = pump.motor_w
            if joule > solid_j:
                things_w += pump.tank_w_k * (pump.well_c - self._contents_c)
            self._pipe_j = flushed_j(joule, pump=pump, run_s=dt_s, water_j_k=water_j_k, solid_j=solid_j)
            self._brought_j += self._pipe_j - joule
        for watts, (upper, lower, envelope, contents, pipe) in zip((sun_w, things_w), gains, strict=True):
            self._upper_c += upper * watts
            self._lower_c += lower * watts
            self._envelope_c += envelope * watts
            self._contents_c += contents * watts
            self._pipe_j += pipe * watts
            self._brought_j += watts * dt_s

    def _enthalpy_j(self, water_c: float) -> float:
        parameters = self._parameters
        kilograms = parameters.pipe_water_kg
        if water_c >= 0.0:
            return water_c * (kilograms * WATER_J_KGK + parameters.pipe_metal_j_k)
        return water_c * (kilograms * ICE_J_KGK + parameters.pipe_metal_j_k) - kilograms * FUSION_J_KG

    def _blow(self) -> None:
        """Draw the draught's departure from its mean: it remembers itself, and cannot blow outwards."""
        kept = math.exp(-GUST_S / GUST_MEMORY_S)
        spread = self._parameters.gust_share * math.sqrt(1.0 - kept * kept)
        self._gust = max(-1.0, kept * self._gust + spread * self._chance.gauss(0.0, 1.0))
        self._gust_at_s += GUST_S

    def _prepare_gains(self, dt_s: float) -> tuple[list[float], list[float]]:
        """What a watt into the envelope, and one into the contents, adds to each row within one step."""
        parameters = self._parameters
        rates = [[*row, 0.0, 0.0] for row in network(parameters)]
        size = len(rates)
        rates += [[0.0] * (size + 2), [0.0] * (size + 2)]
        rates[ENVELOPE][size] = 1.0 / parameters.envelope_j_k
        rates[CONTENTS][size + 1] = 1.0 / parameters.contents_j_k
        powers = exponential([[rate * dt_s for rate in row] for row in rates])
        rows = (UPPER, LOWER, ENVELOPE, CONTENTS, GAIN)
        if len(self._gains) >= STEPS_KEPT:
            self._gains.clear()
        gains = [powers[row][size] for row in rows], [powers[row][size + 1] for row in rows]
        return self._gains.setdefault(dt_s, gains)

    def _prepare(self, dt_s: float) -> tuple[float, ...]:
        """The numbers of one step of this length: the network's exponential, row by row, and the rest."""
        if not 0.0 < dt_s <= STEP_S_MAX:  # refuses NaN too
            raise ValueError(f"dt_s = {dt_s}: must be above 0, at most {STEP_S_MAX:g} s")
        parameters = self._parameters
        powers = exponential([[rate * dt_s for rate in row] for row in network(parameters)])
        pipe_w_k = parameters.pipe_air_w_k + parameters.pipe_envelope_w_k
        numbers: list[float] = []
        for row in (UPPER, LOWER, ENVELOPE, CONTENTS, GAIN):
            response = powers[row]
            off = response[GROUND] * parameters.ground_c
            on = off + response[POWER] * parameters.heater_w
            pipe = response[PIPE] - (pipe_w_k * dt_s if row == GAIN else 0.0)
            states = (response[UPPER], response[LOWER], response[ENVELOPE], response[CONTENTS])
            numbers += [*states, response[HEATER], response[OUTDOOR], pipe, response[GUST], off, on]
        kept = powers[HEATER][HEATER]
        numbers += [
            kept,
            (1.0 - kept) * parameters.heater_w,
            -math.expm1(-dt_s * parameters.air_changes_h / 3600.0),
            parameters.outdoor_humidity_pct / 100.0,
            parameters.damp_pa,
            parameters.upper_outdoor_w_k,
            parameters.lower_outdoor_w_k,
            parameters.pipe_water_kg * WATER_J_KGK + parameters.pipe_metal_j_k,
            parameters.pipe_water_kg * ICE_J_KGK + parameters.pipe_metal_j_k,
            -parameters.pipe_water_kg * FUSION_J_KG,
        ]
        if len(self._steps) >= STEPS_KEPT:
            self._steps.clear()
        return self._steps.setdefault(dt_s, tuple(numbers))
