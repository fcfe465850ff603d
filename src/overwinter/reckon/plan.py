"""All figures of a plan: what fits, what does not, and what a change would bring.

Rule 1: everything comes from site.toml, the band and the weather, and is reckoned with what `physics` has.
Rule 2: a figure without its inputs is None, and `missing` names the input; nothing is guessed in its place.
Rule 3: where a choice was needed it is the one that asks for more heat, earlier help and less switching.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from overwinter.core.nouns import Building, Circuit, PipeSpec, Settings, Site
from overwinter.core.units import c_from_f
from overwinter.physics.advice import (
    HEATED_H,
    BandAdvice,
    advise,
    control_sensor_k,
    cycle_heat_j_k,
)
from overwinter.physics.circuit import CircuitLoad, circuit_load, contact_needed_a
from overwinter.physics.cycle import fastest_cycles_h
from overwinter.physics.duty import blind_outdoor_limit_c, contact_life_years, steady_rise_k
from overwinter.physics.envelope import Conductance, heater_limit_c, loss_w, ua_w_k
from overwinter.physics.pipe import Freezing, freezing
from overwinter.physics.ranges import Range
from overwinter.physics.season import COMPARED_C, degree_days_kwh, degree_hours_kh, season
from overwinter.reckon.outage import Before, Room, freezing_in_room, room_zero_h
from overwinter.reckon.savings import Saving, savings

CARD_OUTDOOR_C = (c_from_f(30.0), c_from_f(20.0), c_from_f(10.0), c_from_f(0.0))
"""The outdoor temperatures that the door card has hours for."""

UA_LEAST_SHARE = 0.7
"""A house may lose so much less than reckoned (no wind, a warm floor): it counts where that is the danger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The band that the plan is for, and where it comes from: asked, settings or advice."""

    low_c: float
    high_c: float
    source: str

    @property
    def middle_c(self) -> float:
        """What is held on average."""
        return (self.low_c + self.high_c) / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outdoors:
    """A span of weather, evenly spaced, as a weather file has it."""

    name: str
    temperatures_c: Sequence[float]
    step_h: float
    filled: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """What the season asks for. `held_*` is a house at 60 F; None where degree days do not tell it."""

    source: str
    kwh: float
    cost: float | None
    held_kwh: float | None = None
    held_cost: float | None = None
    hours: float | None = None
    heating_h: float | None = None
    coldest_c: float | None = None
    short_h: float | None = None  # None: no heater is given
    short_kwh: float | None = None  # what this heater cannot give of it
    filled: int = 0

    @property
    def saved_kwh(self) -> float | None:
        """Energy that the band saves against 60 F."""
        return None if self.held_kwh is None else self.held_kwh - self.kwh

    @property
    def saved_cost(self) -> float | None:
        """And its price."""
        return None if self.held_cost is None or self.cost is None else self.held_cost - self.cost


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeFigures:
    """One pipe at the design temperature: in air as cold as outdoors at once, and in the room that cools."""

    name: str
    open_air: Freezing | None  # None: no design temperature
    in_room: Freezing | None  # None: nor a whole building


@dataclass(frozen=True, slots=True, kw_only=True)
class Outage:
    """Without heat at one outdoor temperature."""

    outdoor_c: float
    loss_w: float | None  # what a heater must give to hold the low end
    room_zero_h: Range | None
    pipes: tuple[Freezing, ...]  # as `Plan.pipes` are ordered


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """The relay at its busiest."""

    cycles_h: float
    rated_cycles: int | None
    life_years: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Blind:
    """Heat that no reading corrects."""

    duty: float
    rise_k: float
    ceiling_c: float
    outdoor_limit_c: float  # warmer than this the ceiling is passed


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole of it."""

    site: Site
    band: Band
    advice: BandAdvice
    conductance: Conductance
    design_c: float | None
    loss_w: float | None
    heater_limit_c: float | None
    winter: Winter | None
    savings: tuple[Saving, ...]
    all_savings: Saving | None  # everything in `savings` done together
    pipes: tuple[PipeFigures, ...]  # the first to freeze first
    outages: tuple[Outage, ...]
    room: Room | None  # None: pipes are reckoned from the pipe alone
    before: Before
    circuit: CircuitLoad | None
    contact: Contact | None
    inrush_a: float | None  # of a cold lamp
    blind: Blind | None
    missing: tuple[str, ...] = field(default=())  # dotted keys that would tell more

    @property
    def ua_w_k(self) -> float | None:
        """What the building loses for each kelvin; None: no part is given."""
        return self.conductance.total_w_k

    @property
    def is_heater_enough(self) -> bool | None:
        """Whether it holds the low end at the design temperature; None: not known."""
        watts = self.site.heater.watts
        if self.loss_w is None or self.heater_limit_c is None or watts is None:
            return None
        return watts >= self.loss_w


def plan(
    site: Site,
    *,
    band: Band | None = None,
    settings: Settings | None = None,
    outdoors: Outdoors | None = None,
    degree_days_kd: float | None = None,
) -> Plan:
    """All figures for a site.

    Parameters
    ----------
    site : Site
        site.toml.
    band : Band, optional
        What is to be held; both ends -40 to 60 °C, high above low. The advice where it is not given.
    settings : Settings, optional
        For the ceiling and the blind duty; the defaults where they are not given.
    outdoors : Outdoors, optional
        The season's weather.
    degree_days_kd : float, optional
        Or its heating degree days [K d], 0 to 20 000, below the middle of the band.

    Returns
    -------
    Plan
        What is not known is None.

    Raises
    ------
    ValueError
        Band or weather out of range.
    """
    advice = advise(site)
    held = band or Band(low_c=advice.low_c, high_c=advice.high_c, source="advice")
    building = site.building or Building()
    conductance = ua_w_k(building)
    total_w_k, design_c = conductance.total_w_k, building.design_outdoor_c
    watts = None if site.heater.kind == "cable" else site.heater.watts  # a cable does not warm the air
    room = None
    if total_w_k is not None and conductance.is_complete and building.volume_m3 is not None:
        room = Room.of_volume(volume_m3=building.volume_m3, ua_w_k=total_w_k)
    error_k, resolution_k, spread_k = control_sensor_k(site)
    before = Before(
        low_c=held.low_c, high_c=held.high_c, error_k=error_k + resolution_k / 2.0, spread_k=spread_k
    )
    found, together = savings(conductance, degree_hours_kh=_degree_hours_kh(held, outdoors, degree_days_kd))
    pipes = sorted(site.pipes, key=lambda pipe: _order(pipe, held))
    return Plan(
        site=site,
        band=held,
        advice=advice,
        conductance=conductance,
        design_c=design_c,
        loss_w=_loss_w(total_w_k, held, design_c),
        heater_limit_c=(
            None
            if total_w_k is None or watts is None
            else heater_limit_c(ua_w_k=total_w_k, inside_c=held.low_c, watts=watts)
        ),
        winter=_winter(site, total_w_k, held, watts=watts, outdoors=outdoors, degree_days_kd=degree_days_kd),
        savings=found,
        all_savings=together,
        pipes=tuple(_pipe(pipe, design_c, held, room, before) for pipe in pipes),
        outages=tuple(
            Outage(
                outdoor_c=outdoor_c,
                loss_w=_loss_w(total_w_k, held, outdoor_c),
                room_zero_h=None if room is None else room_zero_h(room, before, outdoor_c=outdoor_c),
                pipes=tuple(_without_heat(pipe, outdoor_c, held, room, before) for pipe in pipes),
            )
            for outdoor_c in CARD_OUTDOOR_C
        ),
        room=room,
        before=before,
        circuit=None if site.circuit is None else circuit_load(site.circuit, site.heater),
        contact=_contact(site, building, watts, held),
        inrush_a=_inrush_a(site),
        blind=_blind(total_w_k, watts, settings or Settings()),
        missing=_missing(site, building, has_season=outdoors is not None or degree_days_kd is not None),
    )


def _loss_w(total_w_k: float | None, band: Band, outdoor_c: float | None) -> float | None:
    if total_w_k is None or outdoor_c is None:
        return None
    return loss_w(ua_w_k=total_w_k, inside_c=band.low_c, outdoor_c=outdoor_c)


def _degree_hours_kh(band: Band, outdoors: Outdoors | None, degree_days_kd: float | None) -> float | None:
    if outdoors is not None:
        return degree_hours_kh(outdoors.temperatures_c, band.middle_c, step_h=outdoors.step_h)
    return None if degree_days_kd is None else 24.0 * degree_days_kd


def _winter(
    site: Site,
    total_w_k: float | None,
    band: Band,
    *,
    watts: float | None,
    outdoors: Outdoors | None,
    degree_days_kd: float | None,
) -> Winter | None:
    if total_w_k is None:
        return None

    def cost(kwh: float) -> float | None:
        return None if site.per_kwh is None else kwh * site.per_kwh

    if outdoors is None:
        if degree_days_kd is None:
            return None
        kwh = degree_days_kwh(degree_days_kd=degree_days_kd, ua_w_k=total_w_k)
        return Winter(source="degree days", kwh=kwh, cost=cost(kwh))
    at_c, step_h = outdoors.temperatures_c, outdoors.step_h
    # What it takes, not what too small a heater would give: a house that is too cold is no saving.
    asked = season(at_c, ua_w_k=total_w_k, inside_c=band.middle_c, step_h=step_h)
    held = season(at_c, ua_w_k=total_w_k, inside_c=COMPARED_C, step_h=step_h)
    short_h = short_kwh = None
    if watts is not None:
        # Short is who cannot hold the low end: that the middle is not reached on a cold night harms nobody.
        given = season(at_c, ua_w_k=total_w_k, inside_c=band.low_c, watts=watts, step_h=step_h)
        short_h, short_kwh = given.short_h, given.short_kh * total_w_k / 1000.0
    return Winter(
        source=outdoors.name,
        kwh=asked.kwh,
        cost=cost(asked.kwh),
        held_kwh=held.kwh,
        held_cost=cost(held.kwh),
        hours=asked.hours,
        heating_h=asked.heating_h,
        coldest_c=asked.coldest_c,
        short_h=short_h,
        short_kwh=short_kwh,
        filled=outdoors.filled,
    )


def _order(pipe: PipeSpec, band: Band) -> float:
    """By how fast the pipe alone freezes in 10 F, which orders them at any temperature that matters."""
    return freezing(pipe, water_c=_water_c(band), air_c=CARD_OUTDOOR_C[2]).start_h.best


def _water_c(band: Band) -> float:
    return min(60.0, max(0.0, band.low_c))


def _pipe(
    pipe: PipeSpec, design_c: float | None, band: Band, room: Room | None, before: Before
) -> PipeFigures:
    if design_c is None:
        return PipeFigures(name=pipe.name, open_air=None, in_room=None)
    return PipeFigures(
        name=pipe.name,
        open_air=freezing(pipe, water_c=_water_c(band), air_c=design_c),
        in_room=None if room is None else freezing_in_room(pipe, room, before, outdoor_c=design_c),
    )


def _without_heat(
    pipe: PipeSpec, outdoor_c: float, band: Band, room: Room | None, before: Before
) -> Freezing:
    if room is None:
        return freezing(pipe, water_c=_water_c(band), air_c=outdoor_c)
    return freezing_in_room(pipe, room, before, outdoor_c=outdoor_c)


def _inrush_a(site: Site) -> float | None:
    if site.heater.watts is None or site.heater.kind != "lamp":
        return None
    volts = (site.circuit or Circuit()).volts
    return contact_needed_a(current_a=site.heater.watts / volts, is_lamp=True)


def _contact(site: Site, building: Building, watts: float | None, band: Band) -> Contact | None:
    if building.volume_m3 is None or watts is None:
        return None
    cycles_h = fastest_cycles_h(
        heat_j_k=cycle_heat_j_k(building.volume_m3), watts=watts, width_k=band.high_c - band.low_c
    )
    rated = site.relay.rated_cycles
    life_years = None
    if rated is not None:
        # What switches every second is worn out at once, whatever the arithmetic would take beyond that.
        life_years = contact_life_years(
            rated_cycles=rated, cycles_h=min(3600.0, cycles_h), heated_h_year=HEATED_H
        )
    return Contact(cycles_h=cycles_h, rated_cycles=rated, life_years=life_years)


def _blind(total_w_k: float | None, watts: float | None, settings: Settings) -> Blind | None:
    if total_w_k is None or watts is None:
        return None
    least_w_k, duty = UA_LEAST_SHARE * total_w_k, settings.blind_duty
    return Blind(
        duty=duty,
        rise_k=steady_rise_k(watts=watts, duty=duty, ua_w_k=least_w_k),
        ceiling_c=settings.ceiling_c,
        outdoor_limit_c=blind_outdoor_limit_c(
            ceiling_c=settings.ceiling_c, watts=watts, duty=duty, ua_w_k=least_w_k
        ),
    )


def _missing(site: Site, building: Building, *, has_season: bool) -> tuple[str, ...]:
    """What would tell more; the building's parts and its air are named by `Conductance.missing`."""
    absent = {
        "building": site.building is None,
        "building.design_outdoor": site.building is not None and building.design_outdoor_c is None,
        "heater.watts": site.heater.watts is None,
        "pipe": not site.pipes,
        "circuit": site.circuit is None,
        "relay.rated_cycles": site.relay.rated_cycles is None,
        "tariff.per_kwh": site.per_kwh is None,
        "--weather": not has_season,
    }
    return tuple(key for key, is_absent in absent.items() if is_absent)
