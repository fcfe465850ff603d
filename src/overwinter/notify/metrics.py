"""The guard's state as OpenMetrics text, for a node exporter's textfile folder and for /metrics.

Names and units by the OpenMetrics rules: base units in the name (celsius, seconds, ratio), `_total` on what
only grows. One text serves two readers: OpenMetrics names a counter's family without `_total`, the older
format of a textfile folder names it with. So what only grows stands here without a TYPE line, which to both
means that its type is not declared; rates can be taken all the same. `# EOF` is a comment to the older one.

Rule 1: what is not known is left out; a stale number in a dashboard is worse than a hole.
"""

from collections.abc import Iterable, Mapping
from typing import Any

UNITS = ("celsius", "seconds", "ratio")
HEALTHS = ("normal", "maintenance-required", "out-of-specification", "function-check", "failure")


def openmetrics(status: Mapping[str, Any] | None, *, house: str) -> str:
    """All that a status says in numbers; None: the guard did not answer.

    Parameters
    ----------
    status : mapping or None
        The guard's answer to `status`.
    house : str
        The label that tells one pump house from another.
    """
    text = _Text(house)
    text.family("overwinter_up", "gauge", "Whether the guard answered.", [({}, float(status is not None))])
    if status is not None:
        _write(text, status)
    return text.whole()


def _write(text: "_Text", status: Mapping[str, Any]) -> None:
    heat, band = status.get("heat") or {}, status.get("band") or {}
    text.family(
        "overwinter_build_info",
        "gauge",
        "The guard's version.",
        [({"version": str(status.get("version"))}, 1.0)],
    )
    text.one("overwinter_uptime_seconds", "gauge", "Since the guard started.", status.get("uptime_s"))
    text.one(
        "overwinter_blind", "gauge", "1 while no control sensor can be believed.", _flag(status.get("blind"))
    )
    text.one(
        "overwinter_temperature_celsius",
        "gauge",
        "The coldest believed reading.",
        status.get("temperature_c"),
    )
    text.one("overwinter_outdoor_celsius", "gauge", "The outdoor temperature.", status.get("outdoor_c"))
    text.one("overwinter_dew_point_celsius", "gauge", "The dew point.", status.get("dew_point_c"))
    text.one(
        "overwinter_humidity_ratio", "gauge", "Relative humidity, 0 to 1.", _share(status.get("humidity_pct"))
    )
    text.one(
        "overwinter_reading_age_seconds", "gauge", "Age of the last believed reading.", status.get("age_s")
    )
    text.one("overwinter_band_low_celsius", "gauge", "Heat goes on at or below.", band.get("low_c"))
    text.one("overwinter_band_high_celsius", "gauge", "Heat goes off at or above.", band.get("high_c"))
    text.one("overwinter_heat_on", "gauge", "1 while heat is on.", _flag(heat.get("on")))
    text.one("overwinter_heat_cycles_total", None, "How often heat came on.", heat.get("cycles"))
    text.one("overwinter_heat_seconds_total", None, "How long heat was on.", heat.get("on_s"))
    text.family(
        "overwinter_health",
        "gauge",
        "1 for the present category of NAMUR NE 107, 0 for the others.",
        [({"category": word}, float(word == status.get("health"))) for word in HEALTHS],
    )
    text.family(
        "overwinter_sensor_celsius",
        "gauge",
        "What each sensor last said.",
        [
            ({"sensor": str(sensor.get("name")), "role": str(sensor.get("role"))}, sensor["temperature_c"])
            for sensor in status.get("sensors") or []
            if _is_number(sensor.get("temperature_c"))
        ],
    )
    text.family(
        "overwinter_sensor_flag",
        "gauge",
        "The QARTOD flag of each sensor's last reading.",
        [
            ({"sensor": str(sensor.get("name")), "role": str(sensor.get("role"))}, float(sensor["flag"]))
            for sensor in status.get("sensors") or []
            if _is_number(sensor.get("flag"))
        ],
    )
    counts: dict[tuple[str, str], int] = {}
    for alarm in status.get("alarms") or []:
        key = str(alarm.get("code")), "yes" if alarm.get("acknowledged") else "no"
        counts[key] = counts.get(key, 0) + 1
    text.family(
        "overwinter_alarms",
        "gauge",
        "Present alarms.",
        [
            ({"code": code, "acknowledged": known}, float(count))
            for (code, known), count in sorted(counts.items())
        ],
    )


class _Text:
    """Families of metrics, each under its own description."""

    def __init__(self, house: str) -> None:
        self._house = house
        self._lines: list[str] = []

    def one(self, name: str, kind: str | None, about: str, value: object) -> None:
        """A family with one value, or none if it is not known."""
        if _is_number(value):
            self.family(name, kind, about, [({}, float(value))])  # type: ignore[arg-type]

    def family(
        self, name: str, kind: str | None, about: str, samples: Iterable[tuple[Mapping[str, str], float]]
    ) -> None:
        """A family; without samples it is left out. A `kind` of None is not declared."""
        lines = [
            f"{name}{{{_labels({'house': self._house, **labels})}}} {value:.10g}" for labels, value in samples
        ]
        if not lines:
            return
        unit = name.rpartition("_")[2]
        if kind is not None:
            self._lines.append(f"# TYPE {name} {kind}")
        if unit in UNITS:
            self._lines.append(f"# UNIT {name} {unit}")
        self._lines += [f"# HELP {name} {about}", *lines]

    def whole(self) -> str:
        return "\n".join([*self._lines, "# EOF", ""])


def _labels(labels: Mapping[str, str]) -> str:
    return ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15


def _flag(value: object) -> float | None:
    return float(value) if isinstance(value, bool) else None


def _share(percent: object) -> float | None:
    return float(percent) / 100.0 if _is_number(percent) else None  # type: ignore[arg-type]
