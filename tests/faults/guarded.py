"""Faults of files, sockets and people: a real guard as a process, watched from outside."""

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.faults.nouns import Drive, Seen
from tests.guard.house import NO_MINIMA, House

QUICK = ("sampling.sense_s=1", "filter.window=1", "filter.max_rate_per_min=600")
IN_HOUSE_C, COLD_C, WARM_C = 3.0, 0.5, 8.0


def on_a_guard(play: Callable[[House], Seen]) -> Drive:
    """A bench house for the play, and its end."""

    def drive(folder: Path) -> Seen:
        house = House(folder)
        house.reads(IN_HOUSE_C)
        try:
            return play(house)
        finally:
            house.close()

    return drive


def follows_the_band(house: House) -> str:
    """Whether heat comes with cold and goes with warmth."""
    for temperature_c, wanted in ((COLD_C, True), (WARM_C, False)):
        house.reads(temperature_c)
        house.until(lambda wanted=wanted: house.heat() is wanted, f"heat is {wanted} at {temperature_c}")  # type: ignore[misc]
    return "band"


def quick(house: House) -> None:
    """Running, with readings every second and no minimum times."""
    house.start()
    house.until(house.settings.exists, "settings.toml is written")
    house.set(*QUICK, *NO_MINIMA)


def raised(house: House, code: str, within_s: float = 20.0) -> float:
    """How long until the alarm is up [s]."""
    return house.until(
        lambda: code in [alarm["code"] for alarm in house.status()["alarms"]], f"alarm {code}", within_s
    )


def spoilt_at_rest(name: str, data: bytes | None, code: str = "settings-recovered") -> Drive:
    """A file is damaged or gone while no guard runs."""

    def play(house: House) -> Seen:
        quick(house)
        house.stop()
        path = house.site if name == "site.toml" else house.state / name
        if data is None:
            path.unlink()
        else:
            path.write_bytes(data)
        began = time.monotonic()
        house.start()
        after_s = raised(house, code) if code else None
        if after_s is not None:
            after_s = time.monotonic() - began
        return Seen(after_s, follows_the_band(house))

    return on_a_guard(play)


def no_site(house: House) -> Seen:
    """Nothing says what is wired, and nothing ever did."""
    house.site.write_text("[relay\n")
    began = time.monotonic()
    house.start(wait=False)
    assert house.process is not None
    code = house.process.wait(20)
    return Seen(time.monotonic() - began if code == 1 else None, "released")


def logbook_torn(house: House) -> Seen:
    """A power cut left half a line, and noise behind it."""
    quick(house)
    house.stop()
    with (house.logs / "logbook.jsonl").open("ab") as file:
        file.write(b'{"t": "2026-01-\0\0\0\xff')
    house.start()
    house.until(lambda: house.events()[-1]["event"] != "stop", "it writes again")  # each line parses
    return Seen(None, follows_the_band(house))


def no_logs_folder(house: House) -> Seen:
    """The logbook's folder is a file."""
    house.logs.write_text("in the way")
    began = time.monotonic()
    house.start()
    raised(house, "disk")
    after_s = time.monotonic() - began
    house.until(house.settings.exists, "settings.toml is written")
    house.set(*QUICK, *NO_MINIMA)
    return Seen(after_s, follows_the_band(house))


def sensor_files_gone(house: House) -> Seen:
    """The kernel's driver of the sensor is gone."""
    quick(house)
    house.set("failsafe.lost_after_s=3")
    house.reads(None)
    began = time.monotonic()
    house.until(lambda: house.status()["blind"], "blind")
    after_s = time.monotonic() - began
    heat = "on" if house.heat() else "off"
    return Seen(after_s, heat)


def refused(words: tuple[str, ...]) -> Drive:
    """A change that the rules refuse."""

    def play(house: House) -> Seen:
        quick(house)
        before = house.settings.read_bytes()
        began = time.monotonic()
        done = house.run(*words)
        after_s = time.monotonic() - began
        is_refused = done.returncode == 1 and bool(done.stderr) and house.settings.read_bytes() == before
        return Seen(after_s if is_refused else None, follows_the_band(house))

    return on_a_guard(play)


def low_setting(house: House) -> Seen:
    """A low end near freezing, although it was advised against."""
    quick(house)
    began = time.monotonic()
    house.set("limits.alarm_low=31.5", "band.low=33", "--anyway")
    raised(house, "low-setting")
    return Seen(time.monotonic() - began, follows_the_band(house))


def edited_to_nonsense(house: House) -> Seen:
    """The owner's own edit of settings.toml, and a reload."""
    quick(house)
    house.settings.write_text(house.settings.read_text().replace("low = 36.0", "low = 99.0"))
    assert house.process is not None
    began = time.monotonic()
    house.process.send_signal(signal.SIGHUP)
    house.until(lambda: bool(house.events("refused")), "the reload is refused in the logbook")
    return Seen(time.monotonic() - began, follows_the_band(house))


def second_guard(house: House) -> Seen:
    """A second guard on the same house."""
    quick(house)
    began = time.monotonic()
    done = house.run("guard")
    return Seen(
        time.monotonic() - began if done.returncode == 1 and "another guard" in done.stderr else None,
        follows_the_band(house),
    )


def garbage_on_the_socket(house: House) -> Seen:
    """Bytes that are no message, and numbers that are no temperature."""
    quick(house)
    began = time.monotonic()
    with socket.socket(socket.AF_UNIX) as client:
        client.settimeout(5)
        client.connect(str(house.socket))
        client.sendall(
            b"\xff\x00{[\n"
            b'{"jsonrpc":"2.0","id":1,"method":"set","params":{"changes":{"band.low":1e999}}}\n'
            + b"[" * 900
            + b"\n"
        )
        answer = b""
        while answer.count(b"\n") < 3:
            answer += client.recv(65536)
    assert answer.count(b'"error"') == 3, answer
    return Seen(time.monotonic() - began, follows_the_band(house))


def silent_clients(house: House) -> Seen:
    """Clients that connect and say nothing, up to the limit."""
    quick(house)
    clients = [socket.socket(socket.AF_UNIX) for _ in range(12)]
    try:
        for client in clients:
            client.connect(str(house.socket))
        return Seen(None, follows_the_band(house))
    finally:
        for client in clients:
            client.close()


def ended(number: int) -> Drive:
    """The process ends by a signal; another is started."""

    def play(house: House) -> Seen:
        quick(house)
        house.stop(number)
        began = time.monotonic()
        house.start()
        house.until(lambda: len(house.events("start")) == 2, "the start is recorded")
        return Seen(time.monotonic() - began, follows_the_band(house))

    return on_a_guard(play)


def frozen(house: House) -> Seen:
    """The process is alive and does nothing: what a service manager sees of it."""
    place = house.socket.parent / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(place))
        manager.settimeout(0.2)
        house.start(NOTIFY_SOCKET=str(place), WATCHDOG_USEC="2000000")
        _until_fed(manager, 10.0)
        assert house.process is not None
        house.process.send_signal(signal.SIGSTOP)
        began = time.monotonic()
        while _is_fed(manager):
            assert time.monotonic() - began < 5.0
        # Nothing comes for the whole of the watchdog's time: then the manager kills it, and starts another.
        ends = time.monotonic() + 2.0
        while time.monotonic() < ends:
            assert not _is_fed(manager), "a frozen guard fed its watchdog"
        after_s = time.monotonic() - began
        house.stop(signal.SIGKILL)
    house.start()
    house.until(house.settings.exists, "settings.toml is written")
    house.set(*QUICK, *NO_MINIMA)
    return Seen(after_s, follows_the_band(house))


def _is_fed(manager: socket.socket) -> bool:
    try:
        return b"WATCHDOG=1" in manager.recv(65536)
    except TimeoutError:
        return False


def _until_fed(manager: socket.socket, within_s: float) -> None:
    ends = time.monotonic() + within_s
    while not _is_fed(manager):
        assert time.monotonic() < ends, "the watchdog was never fed"


POISONED = """
import sys
from pathlib import Path
import overwinter.guard.main as guard
from overwinter.cli import main
true = guard.load_settings
def choke(state_dir, **options):
    path = Path(state_dir) / "settings.toml"
    if path.exists() and "poison" in path.read_text():
        raise RuntimeError("a mistake in the program, which this file brings about")
    return true(state_dir, **options)
guard.load_settings = choke
sys.exit(main(["guard"]))
"""


def poisoned(house: House) -> Seen:
    """A mistake of ours that a file brings about at every start; a manager starts again and again."""
    quick(house)
    house.stop()
    text = house.settings.read_text() + "# poison\n"
    house.settings.write_text(text)
    began = time.monotonic()
    for _ in range(2):
        house.start(wait=False, before=(sys.executable, "-c", POISONED))
        assert house.process is not None
        assert house.process.wait(20) == 1
    house.start(before=(sys.executable, "-c", POISONED))
    raised(house, "settings-recovered")
    after_s = time.monotonic() - began
    assert [path.read_text() for path in house.state.glob("settings.toml.suspect-*")] == [text]
    house.until(house.settings.exists, "settings.toml is written")
    house.set(*QUICK, *NO_MINIMA)
    return Seen(after_s, follows_the_band(house))


def stranger(house: House) -> Seen:
    """A local user outside the group asks for a change."""
    quick(house)
    before = house.settings.read_bytes()
    program = (
        "import os, socket, sys\n"
        "if os.geteuid() == 0:\n"
        "    os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
        "client = socket.socket(socket.AF_UNIX); client.connect(sys.argv[1])\n"
        'client.sendall(b\'{"jsonrpc":"2.0","id":1,"method":"set","params":{"changes":{"mode":"observe"}}}\\n\')\n'
        "sys.stdout.write(client.recv(65536).decode())\n"
    )
    house.socket.parent.chmod(0o755)
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-I", "-c", program, str(house.socket)],
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
    )
    after_s = time.monotonic() - began
    is_refused = "-32001" in done.stdout and house.settings.read_bytes() == before
    return Seen(after_s if is_refused else None, follows_the_band(house))
