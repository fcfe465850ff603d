"""The hardened unit on a real kernel: systemd, a GPIO chip, a sensor on a bus, in a simulated machine.

The units are those of the tree, the guard is the tree's wheel in a venv, gpiozero drives its lgpio factory,
and the kernel enforces the unit's limits. Only drop-ins stand in for a board: its model, and more patience,
since the machine's processor is simulated too. What it cannot prove stands in `LIMITS` and is printed with
every run.
"""

LIMITS = (
    "the lines are gpio-sim's: nothing is said of what a real chip does at power-up or when its owner dies. "
    "gpio-sim drops such a line to its pull; the rig sets that to the level a board would keep",
    "letting go frees the line before it is pulled: here it follows the old pull for that moment, and what a "
    "real chip does then is its own",
    "looks at a line's file miss what is shorter than their gap; the record of the driver's calls does not",
    "the kernel is Debian's for PCs, not a Raspberry Pi's; the board's model is a file over /proc/cpuinfo",
    "no DHT: its pulses cannot be simulated. The sensor is a BME280 of registers behind the kernel's driver",
    "times are those of a simulated processor: seconds here are parts of a second on a board",
)
