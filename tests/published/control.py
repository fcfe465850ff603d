"""A first-order house on and off in its band, against a solver of differential equations."""

from overwinter.physics.cycle import Cycle, cooling_s, cycle, fastest_cycles_h
from tests.published.rows import Check

EXACT = 1e-6


def house(outdoor_c: float) -> Cycle:
    """20 W/K, 400 kJ/K, 1000 W, 4 to 6 °C."""
    found = cycle(ua_w_k=20.0, heat_j_k=400e3, watts=1000.0, outdoor_c=outdoor_c, low_c=4.0, high_c=6.0)
    assert found is not None
    return found


ROWS = [
    Check(
        source="scipy",
        what="time on at -10 °C, s",
        ours=lambda: house(-10.0).on_s,
        theirs=1143.1683,
        within_share=EXACT,
    ),
    Check(
        source="scipy",
        what="time off at -10 °C, s",
        ours=lambda: house(-10.0).off_s,
        theirs=2670.6279,
        within_share=EXACT,
    ),
    Check(
        source="scipy",
        what="duty at -10 °C",
        ours=lambda: house(-10.0).duty,
        theirs=0.29974551,
        within_share=EXACT,
    ),
    Check(
        source="scipy",
        what="mean temperature at -10 °C",
        ours=lambda: house(-10.0).mean_c,
        theirs=4.98727564,
        within_share=EXACT,
    ),
    Check(
        source="scipy",
        what="from 5 to 0 °C with the heater dead, s",
        ours=lambda: cooling_s(ua_w_k=20.0, heat_j_k=400e3, outdoor_c=-10.0, from_c=5.0, to_c=0.0),
        theirs=8109.3022,
        within_share=EXACT,
    ),
    Check(
        source="scipy",
        what="fastest cycling, 1/h, against the exact one at -20 °C",
        ours=lambda: fastest_cycles_h(heat_j_k=400e3, watts=1000.0, width_k=2.0),
        theirs=1.1244,
        within_share=0.001,
        because="the narrow-band form is 0.05 % too high here",
    ),
]
