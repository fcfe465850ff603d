"""The rig's own parts, without a machine; the machine itself only where it is asked for."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import overwinter
from tests.rigs.gpio import __main__ as rig
from tests.rigs.gpio import machine, recipe
from tests.rigs.gpio.guest.board import RAW_MAX, compensated_c, raw_for
from tests.rigs.gpio.guest.promises import PROMISES, WIRINGS
from tests.rigs.gpio.guest.record import calls, driven
from tests.rigs.gpio.guest.rig import Wiring
from tests.rigs.gpio.image import PROJECT, Image, default_cache, recipe_hash, requirements

ASKED = "OVERWINTER_GPIO_RIG"

# As a kernel 6.1 writes it down: a claim as input, then the two ways of an active-low line.
HEAD = "# tracer: nop\n#           TASK-PID     CPU#  |||||  TIMESTAMP  FUNCTION\n"
BLINKS = """\
  python-412 [001] .....  105.271828: in: (gpio_sim_direction_input+0x0) pin=17
  python-412 [001] .....  105.272000: out: (gpio_sim_direction_output+0x0) pin=17 level=0
  python-412 [000] .....  105.281000: many: (gpio_sim_set_multiple+0x0) mask=131072 bits=131072
   a name, spaced-413    [000] d..1.   106.000000: free: (gpio_sim_free+0x0) pin=17
"""
STEADY = """\
  overwinter-77 [001] .....  10.500000: out: (gpio_sim_direction_output+0x0) pin=17 level=1
  overwinter-77 [001] .....  10.600000: many: (gpio_sim_set_multiple+0x0) mask=131072 bits=131072
  overwinter-77 [001] .....  10.700000: out: (gpio_sim_direction_output+0x0) pin=18 level=0
  overwinter-77 [001] .....    11.000000: config: (gpio_sim_set_config+0x0) pin=17 packed=261
"""


# The board


def test_the_formula_is_the_data_sheets() -> None:
    """Raw 519888 is 25.08 °C in the worked example of the BMP280 data sheet (section 3.12; from memory)."""
    assert compensated_c(519888) == 25.08


@given(st.integers(-4000, 8500))
def test_any_hundredth_of_a_degree_can_be_put_into_the_registers(hundredths: int) -> None:
    raw = raw_for(hundredths / 100)

    assert 0 <= raw <= RAW_MAX
    assert compensated_c(raw) == hundredths / 100
    assert compensated_c(raw - 1) < hundredths / 100


@pytest.mark.parametrize(
    ("wiring", "released", "heat", "no_heat"),
    [
        pytest.param(WIRINGS[0], 0, 1, 0, id="active high, NO"),
        pytest.param(WIRINGS[1], 1, 0, 1, id="active low, NO"),
        pytest.param(WIRINGS[2], 0, 0, 1, id="active high, NC"),
        pytest.param(WIRINGS[3], 1, 1, 0, id="active low, NC"),
    ],
)
def test_each_wiring_has_its_levels(wiring: Wiring, released: int, heat: int, no_heat: int) -> None:
    assert (wiring.released, wiring.level(heat=True), wiring.level(heat=False)) == (released, heat, no_heat)
    assert wiring.pulled_in != wiring.released


# The record


def test_a_blink_is_in_the_record() -> None:
    levels = driven(list(calls(HEAD + BLINKS, 28)), 17)

    assert [level.level for level in levels] == [None, 0, 1, None]
    assert levels[2].at_s - levels[1].at_s == pytest.approx(0.009)


def test_a_line_that_is_driven_the_same_again_has_not_changed() -> None:
    record = list(calls(HEAD + STEADY, 28))

    assert [level.level for level in driven(record, 17)] == [1]
    assert [level.level for level in driven(record, 18)] == [0]
    assert [(call.what, call.level) for call in record if call.pin == 17][-1] == ("pull", 1)


def test_whoever_drove_the_line_is_named() -> None:
    record = list(calls(HEAD + BLINKS, 28))

    assert [(call.who, call.pid) for call in record][-2:] == [("python", 412), ("a name, spaced", 413)]


# The image and the machine


def test_another_dependency_is_another_image() -> None:
    wanted = requirements()

    assert any(text.startswith("lgpio>=") for text in wanted)
    assert not any(";" in text for text in wanted)
    assert recipe_hash(wanted) == recipe_hash(requirements())
    assert recipe_hash([*wanted, "more"]) != recipe_hash(wanted)


def test_the_cache_is_where_the_environment_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("OVERWINTER_RIG_CACHE", str(tmp_path))

    assert default_cache() == tmp_path


def test_the_machine_gets_the_units_as_they_are_shipped(tmp_path: Path) -> None:
    job = machine.job_folder(tmp_path)

    for unit in (PROJECT / "systemd").glob("overwinter.s*"):
        assert (job / "systemd" / unit.name).read_bytes() == unit.read_bytes()
    module = (job / "run").read_text().split(" -m ")[1].split()[0]
    assert (job / module.replace(".", "/") / "__main__.py").is_file()


def test_what_runs_in_the_machine_needs_only_what_is_in_it(tmp_path: Path) -> None:
    """It has the project, but neither the tests' packages nor the rest of the tests."""
    job = machine.job_folder(tmp_path)

    code = (
        "import sys, tests.rigs.gpio.guest.promises as found; "
        "print(len(found.PROMISES), {'pytest', 'hypothesis'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", code],
        cwd=job,
        env={**os.environ, "PYTHONPATH": str(Path(overwinter.__file__).parents[1])},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.stdout.split() == [str(len(PROMISES)), "set()"], done.stderr


# The verdict


@pytest.fixture
def machine_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """Lines that a machine that is none reports."""
    lines: list[str] = []
    nothing = Image(kernel=tmp_path, initrd=tmp_path, root=tmp_path)
    monkeypatch.setattr(rig, "image", lambda *_: nothing)
    monkeypatch.setattr(machine, "why_not", lambda: None)
    monkeypatch.setattr(machine, "report", lambda *_, **__: iter(lines))
    monkeypatch.setattr(sys, "argv", ["rig", "--cache", str(tmp_path)])
    return lines


def line(promise: str, is_kept: str = "true") -> str:
    return f'{{"promise": "{promise}", "is_kept": {is_kept}, "said": "so", "took_s": 1.5}}'


def test_all_kept_is_success(machine_says: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    machine_says += [line(promise.text) for promise in PROMISES]

    assert rig.main() == 0
    assert f"{len(PROMISES)} of {len(PROMISES)} promises kept" in capsys.readouterr().out


def test_one_broken_promise_is_a_failure(machine_says: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    texts = [promise.text for promise in PROMISES]
    machine_says += [*(line(text) for text in texts[:-1]), line(texts[-1], "false")]

    assert rig.main() == 1
    assert f"FAILED    1.5 s  {texts[-1]}: so" in capsys.readouterr().out


def test_a_machine_that_falls_silent_is_a_failure(
    machine_says: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    machine_says += [line(PROMISES[0].text), "[  12.3] a kernel's last words"]

    assert rig.main() == 1
    said = capsys.readouterr().out
    assert "a kernel's last words" in said
    assert said.count("never heard of") == len(PROMISES) - 1


def test_no_two_promises_have_one_name() -> None:
    assert len({promise.text for promise in PROMISES}) == len(PROMISES)


# The machine itself


def test_every_promise_is_kept_on_a_real_kernel() -> None:
    if os.environ.get(ASKED) != "1":
        pytest.skip(f"{ASKED}=1 asks for it: six minutes in a simulated machine (or: make test-gpio)")
    if reason := machine.why_not() or (recipe.why_not() and no_image()):
        pytest.skip(reason)
    done = subprocess.run([sys.executable, "-m", "tests.rigs.gpio"], cwd=PROJECT, check=False)

    assert done.returncode == 0


def no_image() -> str | None:
    """Why none can be had: none in the cache, and no way to make one."""
    made = default_cache() / recipe_hash(requirements()) / "root.img"
    return None if made.exists() else f"no image in {default_cache()}; {recipe.why_not()}"
