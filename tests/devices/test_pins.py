"""Which pin factory, and the true reason when there is none."""

import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import gpiozero.pins.local
import pytest
from gpiozero import Device
from gpiozero.exc import PinUnknownPi
from gpiozero.pins.mock import MockFactory

from overwinter.devices import pins as module
from overwinter.devices.pins import PinUnavailable, pin_factory
from tests.devices.conftest import RecordingLgpio


def test_the_named_factory_is_taken_whatever_its_case(
    no_factory: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "MOCK")

    factory = pin_factory(runtime_dir=tmp_path)

    assert isinstance(factory, MockFactory)
    assert pin_factory(runtime_dir=tmp_path) is factory is Device.pin_factory, "one for all pins"


def test_without_a_name_it_is_lgpio(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    from gpiozero.pins.lgpio import LGPIOFactory

    assert isinstance(pin_factory(runtime_dir=tmp_path), LGPIOFactory)
    assert lgpio.calls == [("open", None, 0)]


def test_a_wrong_name_is_refused_with_those_there_are(
    no_factory: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "gpoi")

    with pytest.raises(
        PinUnavailable, match=r"^GPIOZERO_PIN_FACTORY=gpoi: no such pin factory; allowed: lgpio, mock, native"
    ):
        pin_factory(runtime_dir=tmp_path)
    assert Device.pin_factory is None


def test_a_factory_that_fails_is_not_replaced_by_another(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def unknown() -> int:
        raise PinUnknownPi("unable to locate Pi revision")

    monkeypatch.setattr(gpiozero.pins.local, "get_pi_revision", unknown)

    with pytest.raises(
        PinUnavailable, match=r"^pin factory lgpio: unable to locate Pi revision; this is no Raspberry Pi"
    ):
        pin_factory(runtime_dir=tmp_path)
    assert Device.pin_factory is None


def test_a_factory_that_cannot_be_imported_says_what_to_install(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)

    with pytest.raises(PinUnavailable, match=r"^pin factory lgpio: import of lgpio halted.*; install lgpio"):
        pin_factory(runtime_dir=tmp_path)


@pytest.mark.parametrize(
    ("mode", "hint"),
    [
        pytest.param(None, "there is no /dev/gpiochip: the kernel has no GPIO here", id="no chip"),
        pytest.param(
            0o000,
            "the user must be in the group gpio, a unit have DeviceAllow=char-gpiochip rw",
            id="no access",
            marks=pytest.mark.skipif(os.geteuid() == 0, reason="root may open everything"),
        ),
    ],
)
def test_a_chip_that_cannot_be_opened_says_why(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, mode: int | None, hint: str
) -> None:
    nodes = tmp_path / "dev"
    nodes.mkdir()
    if mode is not None:
        (nodes / "gpiochip0").touch(mode)
    monkeypatch.setattr(module, "DEVICE_NODES", nodes)
    lgpio.fails["open"] = "can not open gpiochip"

    with pytest.raises(PinUnavailable, match=rf"^pin factory lgpio: can not open gpiochip; .*{hint}$"):
        pin_factory(runtime_dir=tmp_path)


def test_the_folder_for_the_fifo_is_the_runtime_folder_unless_it_cannot_be_written(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    pin_factory(runtime_dir=tmp_path)
    assert os.environ["LG_WD"] == str(tmp_path)

    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.setattr(module.tempfile, "gettempdir", lambda: str(elsewhere))
    assert module._writable(tmp_path / "missing") == str(elsewhere)
    assert module._writable(None) == str(elsewhere)


def test_an_owners_folder_for_the_fifo_stands(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("LG_WD", "/var/tmp")

    pin_factory(runtime_dir=tmp_path)

    assert os.environ["LG_WD"] == "/var/tmp"


@pytest.mark.skipif(find_spec("lgpio") is None, reason="lgpio is not installed here")
def test_importing_the_real_lgpio_leaves_the_working_directory_alone(tmp_path: Path) -> None:
    """In a process of its own: lgpio starts a thread and moves to LG_WD when it is imported."""
    runtime_dir, here = tmp_path / "run", tmp_path / "here"
    runtime_dir.mkdir()
    here.mkdir()
    script = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "import gpiozero.pins.local as local\n"
        "def unknown(): raise RuntimeError('no board in this test')\n"
        "local.get_pi_revision = unknown\n"
        "from overwinter.devices.pins import PinUnavailable, pin_factory\n"
        "try:\n"
        "    pin_factory(runtime_dir=Path(sys.argv[1]))\n"
        "except PinUnavailable as error:\n"
        "    print(error)\n"
        "print(os.getcwd())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(runtime_dir)],
        cwd=here,
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": os.pathsep.join(sys.path), "PATH": os.defpath},
    )

    assert done.stdout.splitlines() == ["pin factory lgpio: no board in this test", str(here)], done.stderr
    assert list(here.iterdir()) == [], "no FIFO in the working directory"
    assert [path.name for path in runtime_dir.iterdir()] == [".lgd-nfy0"]
