"""A forecast as the answer that programs get: SI, the unit in each key, null for what is not known."""

from overwinter.know.forecast import Forecast
from overwinter.physics.ranges import Range


def forecast_facts(forecast: Forecast) -> dict[str, object]:
    """All of it. A range is null while it is not known; an end of it is null where it never happens."""
    duty, kwh, cost = forecast.tomorrow_duty, forecast.tomorrow_kwh, forecast.tomorrow_cost
    return {
        "known": forecast.known,
        "outdoor_c": None if forecast.outdoor_c is None else round(forecast.outdoor_c, 2),
        "hours_to": {
            "alarm_low": _facts(forecast.hours_to_alarm_low),
            "freezing": _facts(forecast.hours_to_freezing),
            "pipes": [{"name": name, "start": _facts(hours)} for name, hours in forecast.pipes],
        },
        "outdoor_limit_c": _facts(forecast.outdoor_limit_c),
        "tomorrow": {
            "duty": _best(duty),
            "kwh": _best(kwh),
            "cost": _best(cost),
            "duty_range": _facts(duty),
            "kwh_range": _facts(kwh),
            "cost_range": _facts(cost),
        },
        "based_on_h": round(forecast.based_on_h, 1),
        "missing": list(forecast.missing),
    }


def _facts(known: Range | None) -> dict[str, float | None] | None:
    return None if known is None else known.facts()


def _best(known: Range | None) -> float | None:
    return None if known is None else known.facts()["best"]
