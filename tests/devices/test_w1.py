from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Reading
from overwinter.devices.w1 import W1, crc8, slave_c


def slave(scratchpad: str, t: int, *, verdict: str = "YES", kept: str | None = None) -> str:
    """A `w1_slave` file as the kernel's documentation shows it."""
    return f"{scratchpad} : crc={scratchpad[-2:]} {verdict}\n{kept or scratchpad} t={t}\n"


def read(folder: Path, *, temperature: str | None = None, w1_slave: str | None = None) -> Reading:
    for name, content in (("temperature", temperature), ("w1_slave", w1_slave)):
        if content is not None:
            (folder / name).write_text(content)
    return W1("riser", folder).read(3.0)


# Lines as published in forum posts and code samples; each checksum was computed anew.
GOOD = [
    pytest.param("3f 00 4b 46 7f ff 01 10 47", 3937, id="3.937"),
    pytest.param("1d 01 4b 46 7f ff 0c 10 dd", 17812, id="17.812"),
    pytest.param("f4 01 4b 46 7f ff 0c 10 c7", 31250, id="31.250"),
    pytest.param("a6 01 4b 46 7f ff 0c 10 5c", 26375, id="26.375"),
    pytest.param("50 05 4b 46 7f ff 0c 10 1c", 85000, id="power-on value, for the judge"),
]

# Published with YES behind them, and yet the checksum is wrong.
BAD = [
    "6b 01 4b 46 7f ff 0c 10 8b",
    "5e 01 4b 46 7f ff 0c 10 d8",
    "4b 01 4b 46 7f ff 05 10 d8",
    "59 01 4b 01 1f ff 0c 10 39",
]


def test_the_checksum_is_the_published_one() -> None:
    # The manufacturer's application note on 1-wire checksums, example of a ROM code.
    assert crc8(bytes.fromhex("02 1C B8 01 00 00 00")) == 0xA2
    # The catalogue check value for this polynomial; from memory.
    assert crc8(b"123456789") == 0xA1


@pytest.mark.parametrize(("scratchpad", "milli_c"), GOOD)
def test_a_published_good_line_gives_its_temperature(
    device_folder: Path, scratchpad: str, milli_c: int
) -> None:
    reading = read(device_folder, w1_slave=slave(scratchpad, milli_c))

    assert reading == Reading(sensor="riser", taken_s=3.0, temperature_c=milli_c / 1000)


@pytest.mark.parametrize("scratchpad", BAD)
def test_a_yes_over_a_wrong_checksum_is_not_believed(device_folder: Path, scratchpad: str) -> None:
    reading = read(device_folder, w1_slave=slave(scratchpad, 21687))

    assert reading.temperature_c is None
    assert f"checksum wrong in {scratchpad}" in str(reading.error)


@given(st.integers(0, 71), st.sampled_from([row.values for row in GOOD]))
def test_one_flipped_bit_is_always_found(bit: int, row: tuple[str, int]) -> None:
    damaged = bytearray.fromhex(row[0])
    damaged[bit // 8] ^= 1 << bit % 8

    with pytest.raises(ValueError, match=r"checksum wrong"):
        slave_c(slave(damaged.hex(" "), row[1]).strip())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(slave("3f 00 4b 46 7f ff 01 10 47", 3937, verdict="NO"), "checksum wrong", id="says no"),
        pytest.param(
            # With a bad frame the driver's second line keeps older bytes, says the kernel's documentation.
            slave("3f 00 4b 46 7f ff 01 10 47", 17812, kept="1d 01 4b 46 7f ff 0c 10 dd"),
            "older reading",
            id="kept from before",
        ),
        pytest.param(slave("00 00 00 00 00 00 00 00 00", 0), "shorted", id="a shorted line is no 0 °C"),
        pytest.param("3f 00 4b 46 7f ff 01 10 47 : crc=47 YES\n", "not the two lines", id="half a file"),
        pytest.param("", "empty", id="empty"),
        pytest.param("nonsense", "not the two lines", id="nonsense"),
        pytest.param(
            slave("3f 00 4b 46 7f ff 01 10 47", 3937).replace("3937", ""), "not the two lines", id="no value"
        ),
    ],
)
def test_a_w1_slave_without_proof_gives_nothing(device_folder: Path, content: str, words: str) -> None:
    reading = read(device_folder, w1_slave=content)

    assert reading.temperature_c is None
    assert words in str(reading.error)


@pytest.mark.parametrize(
    ("temperature", "expected_c"),
    [("3937\n", 3.937), ("-10125", -10.125), ("85000", 85.0), ("-127000", -127.0)],
)
def test_temperature_alone_suffices_and_passes_unfiltered(
    device_folder: Path, temperature: str, expected_c: float
) -> None:
    assert read(device_folder, temperature=temperature) == Reading(
        sensor="riser", taken_s=3.0, temperature_c=expected_c
    )


@pytest.mark.parametrize("temperature", ["", "\n", "none"])
def test_where_temperature_is_empty_w1_slave_answers(device_folder: Path, temperature: str) -> None:
    content = slave("3f 00 4b 46 7f ff 01 10 47", 3937)

    assert read(device_folder, temperature=temperature, w1_slave=content).temperature_c == 3.937


def test_a_device_that_is_gone_names_both_files(tmp_path: Path) -> None:
    reading = W1("riser", Path("/sys/bus/w1/devices/28-0"), root=tmp_path).read(0.0)

    folder = tmp_path / "sys/bus/w1/devices/28-0"
    assert reading.error == (
        f"{folder}/temperature: No such file or directory; {folder}/w1_slave: No such file or directory"
    )
