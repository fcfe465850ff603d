"""What a model of a house must be able to do to be learned from, and the two that there are."""

from typing import Protocol, cast

from tests.bench.learning import other_drawings, other_house, twin_plant


class Plant(Protocol):
    """What a model of a house must be able to do."""

    @property
    def heater_w(self) -> float: ...
    @property
    def air_c(self) -> float: ...
    @property
    def humidity_pct(self) -> float: ...
    @property
    def ice_share(self) -> float: ...
    def advance(self, dt_s: float, heat: bool, outdoor_c: float) -> None: ...
    def surroundings(self, *, wind_m_s: float, sun_w_m2: float, door: str, is_half: bool) -> None: ...
    def pump(self, dt_s: float) -> None: ...
    def keep(self) -> tuple[float, ...]: ...
    def cooling(
        self, kept: tuple[float, ...], *, outdoor_c: float, wind_m_s: float, to_c: float, hours: float
    ) -> tuple[list[float], float]: ...
    def limit_c(self, low_c: float, *, wind_m_s: float) -> float: ...


def plant(model: str, house: str, seed: int, *, start_c: float, heater_share: float) -> Plant:
    """A house of a model, all of it at `start_c`."""
    if model == "twin":
        return cast("Plant", twin_plant.TwinPlant(house, seed, start_c=start_c, heater_share=heater_share))
    return other_house.OtherHouse(house, seed, start_c=start_c, heater_share=heater_share)


def names(model: str) -> tuple[str, ...]:
    """The houses of a model."""
    return twin_plant.NAMES if model == "twin" else other_drawings.NAMES
