"""A 1-wire thermometer (DS18B20 and relatives) behind the kernel's w1_therm driver.

`temperature` holds milli-°C and may be empty; `w1_slave` holds the nine bytes of the scratchpad with the
driver's opinion of their checksum. That opinion is not taken on trust: lines saying YES over a wrong checksum
have been published. +85 °C (power-on value) and -127 °C pass: what they mean is for the judge.
"""

import re
from pathlib import Path

from overwinter.core.nouns import Reading
from overwinter.devices.sysfs import attribute, below, complaint, decimal

_BYTES = r"((?:[0-9a-f]{2} ){9})"
_SLAVE = re.compile(rf"{_BYTES}: crc=[0-9a-f]{{2}} (YES|NO)\s*\n\s*{_BYTES}t=(-?[0-9]+)\Z")


def crc8(data: bytes) -> int:
    """The 1-wire checksum (x⁸+x⁵+x⁴+1, reflected, from 0); over data and its own checksum it is 0."""
    remainder = 0
    for byte in data:
        remainder ^= byte
        for _ in range(8):
            remainder = remainder >> 1 ^ (0x8C if remainder & 1 else 0)
    return remainder


def slave_c(text: str) -> float:
    """The temperature of a `w1_slave` file [°C].

    Raises
    ------
    ValueError
        Not two such lines, a checksum that is wrong, says so or proves nothing, or an older value kept
        on the second line.
    """
    found = _SLAVE.match(text)
    if found is None:
        raise ValueError("empty" if not text else "not the two lines of a 1-wire thermometer")
    fresh, verdict, kept, milli_c = found.groups()
    scratchpad = bytes.fromhex(fresh)
    if verdict == "NO" or crc8(scratchpad) != 0:
        raise ValueError(f"checksum wrong in {fresh.strip()}")
    if not any(scratchpad):
        # Nine zeros have a right checksum, and no such thermometer sends them: it would be a false 0 °C.
        raise ValueError("nine zero bytes: the data line is shorted")
    if kept != fresh:
        raise ValueError("the temperature belongs to an older reading")
    return decimal(milli_c) / 1000


class W1:
    """One 1-wire device folder."""

    def __init__(self, name: str, path: Path, root: Path = Path("/")) -> None:
        self.name = name
        self.path = below(root, path)

    def read(self, now_s: float) -> Reading:
        """The temperature; `temperature` first, and where that gives none, `w1_slave`."""
        errors = []
        for file, parse in (("temperature", _milli), ("w1_slave", slave_c)):
            try:
                temperature_c = parse(attribute(self.path / file))
            except (OSError, ValueError) as error:
                errors.append(complaint(self.path / file, error))
            else:
                return Reading(sensor=self.name, taken_s=now_s, temperature_c=temperature_c)
        return Reading(sensor=self.name, taken_s=now_s, temperature_c=None, error="; ".join(errors))

    def unstick(self) -> None:
        """A read that hangs inside the kernel cannot be woken from here."""

    def close(self) -> None:
        """Nothing is held open between reads."""


def _milli(text: str) -> float:
    return decimal(text) / 1000
