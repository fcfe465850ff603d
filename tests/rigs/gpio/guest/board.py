"""The board that is none: a chip of GPIO lines and a thermometer on a bus, both real to the kernel.

The chip is gpio-sim: a kernel driver without hardware, whose lines are claimed through /dev/gpiochip0 like
any other and are seen from outside through files. A line that nobody drives follows its pull.

The thermometer is a BME280 made of i2c-stub, a bus whose only chip is a table of bytes: the kernel's own
driver reads its registers and shows it under /sys/bus/iio. Its calibration is the maker's worked example.
"""

import ctypes
import fcntl
import os
import struct
import subprocess
import time
from pathlib import Path

MODULE = Path("/usr/local/lib/gpio-sim-oot.ko")
CONFIG = Path("/sys/kernel/config/gpio-sim/bank")
LINES = 28  # of the forty-pin header, as BCM numbers
LABEL = "pinctrl-bcm2711"
GROUP = "gpio"

ADDRESS = 0x76
BUSES = Path("/sys/bus/i2c/devices")
IIO = Path("/sys/bus/iio/devices/iio:device0")

T1, T2, T3 = 27504, 26435, -1000
"""Of temperature, from the worked example of Bosch's BMP280 data sheet (section 3.12; from memory)."""

CALIBRATION = struct.pack(
    "<HhhHhhhhhhhh", T1, T2, T3, 36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000
)
HUMIDITY_CALIBRATION = struct.pack("<hBBBBb", 370, 0, 0x13, 0x2D, 0x03, 30)  # made up, but plausible
HUMIDITY_RAW, PRESSURE_RAW = 30000, 415148
CHIP_ID = 0x60  # BME280

RAW_MAX = (1 << 20) - 1

I2C_SLAVE_FORCE, I2C_SMBUS = 0x0706, 0x0720  # linux/i2c-dev.h
SMBUS_WRITE, SMBUS_BYTE_DATA = 0, 2  # linux/i2c.h


def compensated_c(raw: int) -> float:
    """What the data sheet's integer formula makes of a raw temperature [°C], to a hundredth."""
    first = (((raw >> 3) - (T1 << 1)) * T2) >> 11
    second = (((((raw >> 4) - T1) * ((raw >> 4) - T1)) >> 12) * T3) >> 14
    return ((first + second) * 5 + 128 >> 8) / 100


def raw_for(temperature_c: float) -> int:
    """The smallest raw value that is read as at least this temperature."""
    low, high = 0, RAW_MAX
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if compensated_c(middle) >= temperature_c else (middle + 1, high)
    return low


class Chip:
    """One chip of GPIO lines."""

    def __init__(self) -> None:
        self._lines = Path()

    def make(self) -> None:
        """Load the driver, make the chip, and let the group that a board's system has reach it."""
        run("groupadd", "--system", "--force", GROUP)
        rule = f'SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="{GROUP}", MODE="0660"\n'
        Path("/etc/udev/rules.d/60-gpio.rules").write_text(rule)
        run("udevadm", "control", "--reload")
        run("modprobe", "configfs")
        if not Path("/sys/kernel/config/gpio-sim").exists():
            subprocess.run(["mount", "-t", "configfs", "none", "/sys/kernel/config"], check=False)
        run("insmod", MODULE)
        bank = CONFIG / "b0"
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text(str(LINES))
        (bank / "label").write_text(LABEL)
        (CONFIG / "live").write_text("1")
        run("udevadm", "settle")
        device = (CONFIG / "dev_name").read_text().strip()
        name = (bank / "chip_name").read_text().strip()
        assert name == "gpiochip0", name
        self._lines = Path("/sys/devices/platform") / device / name

    def level(self, pin: int) -> int:
        """Of the line, whoever drives it."""
        return int(self.file(pin).read_text())

    def file(self, pin: int) -> Path:
        """Where its level is read."""
        return self._lines / f"sim_gpio{pin}" / "value"

    def pull(self, pin: int, level: int) -> None:
        """What is soldered to the line, or what a board keeps: its level once nobody drives it."""
        (self._lines / f"sim_gpio{pin}" / "pull").write_text("pull-up" if level else "pull-down")

    def pulled(self, pin: int) -> int:
        """Where the line's pull goes now; whoever claims the line may have changed it."""
        return int((self._lines / f"sim_gpio{pin}" / "pull").read_text().strip() == "pull-up")


class Thermometer:
    """One BME280 on a bus of its own."""

    def __init__(self) -> None:
        self._bus = -1

    def make(self) -> None:
        """The bus, the bytes, and the kernel's driver on them."""
        run("modprobe", "i2c-dev")
        run("modprobe", "i2c-stub", f"chip_addr={ADDRESS:#x}")
        named = {path.parent: path.read_text() for path in BUSES.glob("i2c-*/name")}
        (bus,) = [path.name for path, name in named.items() if "stub" in name.lower()]
        self._bus = int(bus.removeprefix("i2c-"))
        self._write(0x88, CALIBRATION)
        self._write(0xA1, bytes([75]))
        self._write(0xE1, HUMIDITY_CALIBRATION)
        self._write(0xD0, bytes([CHIP_ID]))
        self._write(0xF7, _twenty_bits(PRESSURE_RAW))
        self._write(0xFD, HUMIDITY_RAW.to_bytes(2, "big"))
        self.reads(10.0)
        run("modprobe", "bmp280-i2c")
        self.plug()

    def reads(self, temperature_c: float) -> float:
        """Put it into the registers; what the sensor makes of it [°C]."""
        raw = raw_for(temperature_c)
        self._write(0xFA, _twenty_bits(raw))
        return compensated_c(raw)

    def plug(self) -> None:
        """The chip is on the bus, and the kernel shows it."""
        (BUSES / f"i2c-{self._bus}" / "new_device").write_text(f"bme280 {ADDRESS:#x}")
        ends = time.monotonic() + 20.0
        while not (IIO / "in_temp_input").exists():
            assert time.monotonic() < ends, f"{IIO}: {sorted(IIO.parent.glob('*'))}"
            time.sleep(0.05)

    def unplug(self) -> None:
        """The chip is gone, and its files with it."""
        (BUSES / f"i2c-{self._bus}" / "delete_device").write_text(f"{ADDRESS:#x}")

    def _write(self, register: int, data: bytes) -> None:
        bus = os.open(f"/dev/i2c-{self._bus}", os.O_RDWR)
        try:
            # By force: the kernel's driver has the address, and a stub takes writes from anybody.
            fcntl.ioctl(bus, I2C_SLAVE_FORCE, ADDRESS)
            for offset, byte in enumerate(data):
                block = _Data(byte=byte)
                words = _Transfer(SMBUS_WRITE, register + offset, SMBUS_BYTE_DATA, ctypes.pointer(block))
                fcntl.ioctl(bus, I2C_SMBUS, words)
        finally:
            os.close(bus)


class _Data(ctypes.Union):
    _fields_ = (("byte", ctypes.c_uint8), ("word", ctypes.c_uint16), ("block", ctypes.c_uint8 * 34))


class _Transfer(ctypes.Structure):
    _fields_ = (
        ("read_write", ctypes.c_uint8),
        ("command", ctypes.c_uint8),
        ("size", ctypes.c_uint32),
        ("data", ctypes.POINTER(_Data)),
    )


def run(*words: str | Path) -> str:
    """A command of the system; what it said."""
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(
            f"{' '.join(map(str, words))}: exit code {done.returncode}: {done.stderr or done.stdout}"
        )
    return done.stdout


def _twenty_bits(raw: int) -> bytes:
    return bytes([raw >> 12 & 255, raw >> 4 & 255, (raw & 15) << 4])
