"""config.txt, as the maker of the board documents it."""

import pytest

from overwinter.survey.boot import parsed


def taken(text: str) -> dict[int, int]:
    """Pin: line."""
    return {one.pin: one.line for one in parsed("config.txt", text).taken}


@pytest.mark.parametrize(
    ("text", "pins"),
    [
        ("", set()),
        ("dtoverlay=w1-gpio", {4}),
        ("dtoverlay=w1-gpio,gpiopin=17,pullup=1", {17}),
        ("dtoverlay=w1-gpio-pullup", {4, 5}),
        ("dtoverlay=dht11,gpiopin=22", {22}),
        ("dtoverlay=w1-gpio\ndtparam=gpiopin=17", {17}),
        ("dtoverlay=w1-gpio\ndtoverlay=\ndtparam=spi=on", {4, 7, 8, 9, 10, 11}),
        ("dtoverlay=vc4-kms-v3d\ndtparam=i2c_arm=on", {2, 3}),
        ("dtparam=i2c_arm=on,spi=on", {2, 3, 7, 8, 9, 10, 11}),
        ("dtparam=i2c_arm=off", set()),
        ("dtparam=i2c", {2, 3}),
        ("#dtparam=i2c_arm=on", set()),
        ("dtparam=spi=on # the display", {7, 8, 9, 10, 11}),
        ("dtparam=i2s=on", {18, 19, 20, 21}),
        ("enable_uart=1", {14, 15}),
        ("enable_uart=0", set()),
        ("dtoverlay=uart3", {4, 5}),
        ("dtoverlay=uart0,txd0_pin=32,rxd0_pin=33", set()),
        ("dtoverlay=i2c3", {4, 5}),
        ("dtoverlay=i2c3,pins_2_3", {2, 3}),
        ("dtoverlay=spi0-1cs,cs0_pin=17", {9, 10, 11, 17}),
        ("dtoverlay=gpio-shutdown", {3}),
        ("dtoverlay=gpio-fan,gpiopin=18,temp=60000", {18}),
        ("dtoverlay=gpio-fan,gpiopin=x", set()),
        ("[none]\ndtoverlay=w1-gpio\n[all]\ndtparam=i2c_arm=on", {2, 3}),
        ("[pi4]\ndtoverlay=w1-gpio", {4}),
        ("nonsense\n===\n[\ngpio=\ndtoverlay\n", set()),
    ],
)
def test_the_pins_that_the_kernel_takes(text: str, pins: set[int]) -> None:
    assert set(taken(text)) == pins


def test_the_line_is_told() -> None:
    assert taken("\n# bus\ndtoverlay=w1-gpio\n") == {4: 3}


@pytest.mark.parametrize(
    ("text", "level"),
    [
        ("", None),
        ("gpio=17=op,dh", "high"),
        ("gpio=17=op,dl", "low"),
        ("gpio=17=op", "low"),
        ("gpio=17=ip,pu", "high"),
        ("gpio=17=pd", "low"),
        ("gpio=16-18=op,dh", "high"),
        ("gpio=4,17=op,dh", "high"),
        ("gpio=18=op,dh", None),
        ("gpio=17=op\ngpio=17=dh", "high"),
        ("[none]\ngpio=17=op,dh", None),
        ("gpio=0-99999999=op,dh", "high"),
    ],
)
def test_the_level_of_a_pin_while_the_board_boots(text: str, level: str | None) -> None:
    assert parsed("config.txt", text).level(17) == level
