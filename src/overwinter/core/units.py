"""Degrees Fahrenheit and Celsius, and the words people write for temperatures and durations.

Inside the program a temperature is in °C and a difference in K. Fahrenheit exists only here, in the two
files and on the screen. A difference has no offset: 1 K is 1.8 F°, never 33.8.
"""

import math
import re
from enum import StrEnum

K_PER_F = 1 / 1.8
"""One Fahrenheit degree as a difference [K], exact by definition."""


class Unit(StrEnum):
    """How a file and the screen speak."""

    F = "F"
    C = "C"


def c_from_f(temperature_f: float) -> float:
    """°F to °C (exact definition: F = 1.8 C + 32)."""
    return (temperature_f - 32.0) / 1.8


def f_from_c(temperature_c: float) -> float:
    """°C to °F (exact definition: F = 1.8 C + 32)."""
    return temperature_c * 1.8 + 32.0


def to_c(value: float, unit: Unit) -> float:
    """A number in `unit` as °C."""
    return c_from_f(value) if unit is Unit.F else value


def from_c(temperature_c: float, unit: Unit) -> float:
    """A temperature in °C as a number in `unit`."""
    return f_from_c(temperature_c) if unit is Unit.F else temperature_c


_TEMPERATURE = re.compile(r"([+\-−]?(?:\d+(?:\.\d*)?|\.\d+))\s*°?\s*([FfCc]?)\Z")
_DURATION = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*([smhd]?)\Z")
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}


def parse_temperature_c(text: str, default: Unit) -> float:
    """`36F`, `-1.5 C`, `36` (then in `default`) as °C.

    Raises
    ------
    ValueError
        Anything else, NaN, infinities and numbers beyond any float; the text says what is allowed.
    """
    found = _TEMPERATURE.match(text.strip())
    value = float(found[1].replace("−", "-")) if found else math.nan
    if found is None or not math.isfinite(value):
        raise ValueError(f"{text!r}: a number, with or without F or C behind it, such as 36F or 2.2C")
    return to_c(value, Unit(found[2].upper()) if found[2] else default)


def parse_duration_s(text: str) -> float:
    """`20m`, `1.5h`, `90s`, `2d`, or plain seconds, as seconds.

    Raises
    ------
    ValueError
        Anything else; the text says what is allowed.
    """
    found = _DURATION.match(text.strip())
    value_s = float(found[1]) * _SECONDS[found[2] or "s"] if found else math.nan
    if not math.isfinite(value_s):
        raise ValueError(f"{text!r}: a duration such as 90s, 20m, 1.5h or 2d")
    return value_s


def say(temperature_c: float, unit: Unit) -> str:
    """A temperature for people, in their unit: `36.0 F`."""
    return f"{from_c(temperature_c, unit):z.1f} {unit}"  # z: no minus before nothing


def say_difference(difference_k: float, unit: Unit) -> str:
    """A difference of temperatures for people, in their unit: `1.8 F`."""
    return f"{difference_k / (K_PER_F if unit is Unit.F else 1.0):z.1f} {unit}"
