"""config.txt of a Raspberry Pi: which pins the kernel takes, and what level a pin has while the board boots.

Format: the maker's documentation of config.txt (`gpio=`, `dtparam=`, `dtoverlay=`, `[filters]`). Overlays,
their parameters and default pins: arch/arm/boot/dts/overlays/README of the maker's kernel, as of 2025. Buses
and single pins are in the table; sound cards and displays are not.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

CONFIG_FILES = ("/boot/firmware/config.txt", "/boot/config.txt")
"""Where it lies since Debian 12, and where it lay before."""

_OVERLAY_PINS: Mapping[str, Mapping[str, int]] = {
    "w1-gpio": {"gpiopin": 4},
    "w1-gpio-pullup": {"gpiopin": 4, "extpullup": 5},
    "dht11": {"gpiopin": 4},
    "gpio-charger": {"gpio": 4},
    "gpio-fan": {"gpiopin": 12},
    "gpio-hog": {"gpio": 26},
    "gpio-ir": {"gpio_pin": 18},
    "gpio-ir-tx": {"gpio_pin": 18},
    "gpio-key": {"gpio": 3},
    "gpio-led": {"gpio": 19},
    "gpio-poweroff": {"gpiopin": 26},
    "gpio-shutdown": {"gpio_pin": 3},
    "hdmi-backlight-hwhack-gpio": {"gpio_pin": 17},
    "uart0": {"txd0_pin": 14, "rxd0_pin": 15},
    "uart1": {"txd1_pin": 14, "rxd1_pin": 15},
    "spi0-1cs": {"cs0_pin": 8},
    "spi0-2cs": {"cs0_pin": 8, "cs1_pin": 7},
    "spi4-1cs": {"cs0_pin": 4},
    "spi5-1cs": {"cs0_pin": 12},
}
"""Parameters that name a pin, with their defaults."""

_SPI0 = (9, 10, 11)
_FIXED_PINS: Mapping[str, tuple[int, ...]] = {
    "spi0-1cs": _SPI0,
    "spi0-2cs": _SPI0,
    "spi4-1cs": (5, 6, 7),
    "spi5-1cs": (13, 14, 15),
    "uart0-pi5": (14, 15),
    "uart1-pi5": (0, 1),
    "uart2": (0, 1),
    "uart2-pi5": (4, 5),
    "uart3": (4, 5),
    "uart3-pi5": (8, 9),
    "uart4": (8, 9),
    "uart4-pi5": (12, 13),
    "uart5": (12, 13),
}
_I2C_PINS: Mapping[str, tuple[int, int]] = {
    "i2c1-pi5": (2, 3),
    "i2c2-pi5": (4, 5),
    "i2c3": (4, 5),
    "i2c3-pi5": (6, 7),
    "i2c4": (8, 9),
    "i2c5": (12, 13),
    "i2c6": (22, 23),
}
"""Unless a parameter such as `pins_2_3` says otherwise."""

_I2C_CHOICE = re.compile(r"pins_(\d+)_(\d+)\Z")
_BASE_PINS: Mapping[str, tuple[int, ...]] = {
    "i2c": (2, 3),
    "i2c_arm": (2, 3),
    "i2c1": (2, 3),
    "spi": (7, 8, *_SPI0),
    "i2s": (18, 19, 20, 21),
}
"""Parameters of the base device tree that are off unless they are switched on."""

_ON = frozenset({"", "on", "1", "yes", "y", "true", "okay"})
_HIGHEST = 27


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A pin that a line of config.txt gives to the kernel."""

    pin: int
    by: str  # the line, or what matters of it
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BootConfig:
    """What matters of a config.txt."""

    path: str
    taken: tuple[Taken, ...] = ()
    levels: Mapping[int, frozenset[str]] | None = None  # pin: the words of its last gpio= line

    def level(self, pin: int) -> str | None:
        """`high` or `low` while the board boots, as a gpio= line says; None: no line says it."""
        words = (self.levels or {}).get(pin, frozenset())
        if "op" in words:
            return "high" if "dh" in words else "low"
        return "high" if "pu" in words else "low" if "pd" in words else None


def parsed(path: str, text: str) -> BootConfig:
    """What a config.txt says; lines for another board model are taken as if they were for this one."""
    taken: list[Taken] = []
    levels: dict[int, frozenset[str]] = {}
    overlay = ""  # dtparam= lines below a dtoverlay= are for that overlay
    filter_name = "all"
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.partition("#")[0].strip()
        if line.startswith("["):
            filter_name = line.strip("[]").lower()
        name, _, value = line.partition("=")
        if filter_name == "none" or not name:
            continue
        if name == "gpio":
            pins, _, words = value.partition("=")
            for pin in _pins(pins):
                levels[pin] = levels.get(pin, frozenset()) | frozenset(words.replace(" ", "").split(","))
        elif name == "enable_uart" and value.strip() == "1":
            taken += [Taken(pin=pin, by=line, line=number) for pin in (14, 15)]
        elif name == "dtoverlay":
            overlay, _, given = value.partition(",")
            overlay = overlay.split(":")[-1].strip()
            taken += [Taken(pin=pin, by=line, line=number) for pin in _of_overlay(overlay, _given(given))]
        elif name == "dtparam":
            params = _given(value)
            if overlay and params.keys() & _OVERLAY_PINS.get(overlay, {}).keys():
                # It moves the overlay's pin: what the overlay's own line took is not taken.
                taken = [one for one in taken if not one.by.startswith(f"dtoverlay={overlay}")]
                pins_now = _of_overlay(overlay, params)
                taken += [Taken(pin=pin, by=f"{overlay}, {line}", line=number) for pin in pins_now]
            for key, word in params.items():
                if key in _BASE_PINS and word.lower() in _ON:
                    taken += [Taken(pin=pin, by=line, line=number) for pin in _BASE_PINS[key]]
    return BootConfig(path=path, taken=tuple(taken), levels=levels)


def _of_overlay(name: str, given: Mapping[str, str]) -> list[int]:
    pins = list(_FIXED_PINS.get(name, ()))
    for parameter, default in _OVERLAY_PINS.get(name, {}).items():
        word = given.get(parameter, str(default))
        if word.isdigit():
            pins.append(int(word))
    if name in _I2C_PINS:
        chosen = [found for found in map(_I2C_CHOICE.match, given) if found is not None]
        pins += [int(pin) for pin in (chosen[-1].groups() if chosen else _I2C_PINS[name])]
    return [pin for pin in pins if pin <= _HIGHEST]


def _given(text: str) -> dict[str, str]:
    pairs = (part.partition("=") for part in text.split(",") if part.strip())
    return {key.strip(): value.strip() for key, _, value in pairs}


def _pins(text: str) -> Iterator[int]:
    """`3`, `3-4` or `3-4,6,8`, as in the maker's examples."""
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        if first.isdigit() and (last.isdigit() or not dash):
            yield from range(int(first), min(int(last) if dash else int(first), _HIGHEST) + 1)
