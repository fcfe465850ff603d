"""The simulated energy of a winter against the hourly UA x dT arithmetic of `plan`: within 10 %, and why.

The arithmetic takes every hour as steady and knows one conductance. The house differs from it in four ways,
and the test takes out of the comparison what can be taken out:

- the ground warms the house a little: its flow is counted (the simulated contents hang on it);
- a wall's film and its insulation are in series, which the drawing already counts in UA;
- the house stores heat, which over days averages out, and starts as warm as it ends;
- the band's middle is where the arithmetic holds the house; the true mean lies nearer to where the sensor
  hangs, noise and lag included. That is most of what is left.
"""

from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.core.nouns import Settings
from overwinter.physics.season import season
from overwinter.rehearse.nouns import Scenario
from overwinter.rehearse.run import Run
from overwinter.rehearse.weather import weather_of
from overwinter.twin.houses import HOUSES
from tests.rehearse.lived import live

DAYS = 6.0


@pytest.mark.parametrize("name", ["insulated shed", "timber shed", "uninsulated block house"])
def test_a_cold_week_costs_what_ua_times_dt_says(name: str, tmp_path: Path) -> None:
    options = {"mean_c": -5.0, "season_k": 0.0, "fronts_k": 2.0}
    scenario = Scenario(name="x", days=DAYS, house=name, weather="cold-winter", weather_options=options)
    weather = weather_of(scenario, seed=1)
    from_ground_j, inside_c = [0.0], [0.0]

    def look(run: Run) -> None:
        house = run.stage.house
        made = house.parameters
        from_ground_j[0] += made.contents_ground_w_k * (made.ground_c - house.contents_c) * 10.0
        inside_c[0] += (house.upper_c + house.lower_c) / 2.0
        ua_w_k[0] = (
            made.upper_outdoor_w_k
            + made.lower_outdoor_w_k
            + 1.0
            / (1.0 / (made.upper_envelope_w_k + made.lower_envelope_w_k) + 1.0 / made.envelope_outdoor_w_k)
        )

    ua_w_k = [0.0]
    outcome = live(replace(scenario, start_c=3.3), tmp_path, watch=look)
    settings = Settings()
    hours_c = [weather((hour + 0.5) * 3600.0) for hour in range(int(DAYS * 24))]
    reckoned = season(
        hours_c,
        ua_w_k=ua_w_k[0],
        inside_c=(settings.low_c + settings.high_c) / 2.0,
        watts=HOUSES[name].heater_w,
    )
    simulated_kwh = outcome.kwh + from_ground_j[0] / 3.6e6

    print(  # the figures, with -s
        f"{name}: simulated {outcome.kwh:.1f} kWh, of the ground {from_ground_j[0] / 3.6e6:.1f}, "
        f"reckoned {reckoned.kwh:.1f} kWh; inside {inside_c[0] / outcome.turns:.2f} °C on average"
    )
    assert simulated_kwh == pytest.approx(reckoned.kwh, rel=0.10)
