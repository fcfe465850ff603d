"""Which weather is lived through."""

import pytest

from overwinter.rehearse.nouns import Scenario
from overwinter.rehearse.weather import DESIGN_C, OPTIONS, weather_of


@pytest.mark.parametrize("name", OPTIONS)
def test_each_weather_is_made_from_its_options_and_is_the_same_again(name: str) -> None:
    scenario = Scenario(name="x", weather=name)
    one, other = weather_of(scenario, seed=3), weather_of(scenario, seed=3)

    assert [one(hour * 3600.0) for hour in range(72)] == [other(hour * 3600.0) for hour in range(72)]
    for key, (least, most) in OPTIONS[name].items():
        middle = min(max((least + most) / 2.0, 1.0), 20.0)
        weather_of(Scenario(name="x", weather=name, weather_options={key: middle}), seed=3)(0.0)


def test_a_design_day_without_a_figure_is_about_0_f() -> None:
    weather = weather_of(Scenario(name="x", weather="design-day"), seed=1)

    assert min(weather(hour * 3600.0) for hour in range(24)) == pytest.approx(DESIGN_C)


def test_a_cold_night_is_coldest_at_seven_in_the_morning() -> None:
    options = {"wobble_k": 0.0}
    weather = weather_of(Scenario(name="x", weather="cold-night", weather_options=options), seed=1)

    assert min(range(24), key=lambda hour: weather(hour * 3600.0)) == 7


def test_of_recorded_weather_the_coldest_days_are_taken_from_midnight_on() -> None:
    year = [10.0] * (24 * 100)
    for hour in range(24 * 40 + 5, 24 * 43 + 5):
        year[hour] = -15.0
    weather = weather_of(Scenario(name="x", days=3.0), seed=1, recorded=year)

    assert weather(0.0) == 10.0
    assert weather(10 * 3600.0) == -15.0
    assert sum(weather(hour * 3600.0) < 0.0 for hour in range(72)) == 67
