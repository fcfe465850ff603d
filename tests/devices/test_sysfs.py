import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.devices.sysfs import ATTRIBUTE_BYTES_MAX, attribute, below, complaint, decimal


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6))
def test_a_plain_decimal_is_read_as_python_reads_it(value: object) -> None:
    assert decimal(f"{value:f}") == float(f"{value:f}")


@given(st.text())
def test_any_text_is_a_finite_number_or_a_refusal_of_bounded_length(text: str) -> None:
    try:
        value, refusal = decimal(text), ""
    except ValueError as error:
        value, refusal = 0.0, str(error)

    assert math.isfinite(value)
    assert len(refusal) < 80


@pytest.mark.parametrize(
    "text", ["nan", "inf", "-inf", "1e3", "1_000", "٣", "0x10", "1,5", "--1", ".", "1.", "9" * 400]
)
def test_what_float_would_take_but_no_driver_prints_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"is no number"):
        decimal(text)


def test_an_endless_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    file = tmp_path / "attribute"
    file.write_text("1" * (ATTRIBUTE_BYTES_MAX + 1))

    assert len(attribute(file)) == ATTRIBUTE_BYTES_MAX


def test_an_absolute_path_is_taken_below_the_root() -> None:
    assert below(Path("/fake"), Path("/sys/bus")) == Path("/fake/sys/bus")
    assert below(Path("/"), Path("/sys/bus")) == Path("/sys/bus")
    assert below(Path("/fake"), Path("sys/bus")) == Path("/fake/sys/bus")


def test_a_complaint_names_the_file_once() -> None:
    path = Path("/sys/x")

    assert complaint(path, FileNotFoundError(2, "No such file or directory", str(path))) == (
        "/sys/x: No such file or directory"
    )
    assert complaint(path, ValueError("empty")) == "/sys/x: empty"
