"""Rounds through a stand-in for ssh, and over the real one on loopback."""

import contextlib
import getpass
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from overwinter.schemas import load
from tests.guard.house import House

SSHD = shutil.which("sshd", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")

STATUS = {
    "temperature_c": 3.0,
    "age_s": 4.0,
    "blind": False,
    "heat": {"on": False, "reason": "inside-band"},
    "health": "normal",
    "alarms": [],
}

FAKE_SSH = """#!{python}
import json, sys, time
host, command = sys.argv[sys.argv.index("--") + 1:]
if host == "hangs":
    time.sleep(60)
if host == "floods":
    sys.stdout.write("x" * 3_000_000)
    sys.exit(0)
if host == "talks":
    print("Welcome to the pump house")
    sys.exit(0)
if host == "refuses":
    sys.exit("Permission denied (publickey).")
print(json.dumps({{**json.loads({status!r}), "site": command}}))
"""


def rounds(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "overwinter", "rounds", *words],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def fake_ssh(tmp_path: Path) -> str:
    program = tmp_path / "ssh"
    program.write_text(FAKE_SSH.format(python=sys.executable, status=json.dumps(STATUS)))
    program.chmod(0o755)
    return str(program)


def test_each_house_has_its_line_and_one_that_hangs_hides_none(fake_ssh: str) -> None:
    began = time.monotonic()
    done = rounds("--ssh", fake_ssh, "--timeout", "3", "orchard", "hangs", "refuses", "talks", "floods")

    assert time.monotonic() - began < 10.0
    assert done.returncode == 1
    lines = done.stdout.splitlines()
    assert [line.split()[2] for line in lines[1:5]] == ["floods", "hangs", "refuses", "talks"]
    assert lines[5].split()[:2] == ["fine", "orchard"]
    assert "hangs: not done after 3 s, so it was ended" in done.stdout
    assert "refuses: exit code 1: Permission denied (publickey)." in done.stdout
    assert "talks: its answer is not a guard's status" in done.stdout
    assert "4 not reached, 1 fine" in done.stdout


def test_the_hosts_of_a_file_and_a_second_house_on_a_board(fake_ssh: str, tmp_path: Path) -> None:
    hosts = tmp_path / "hosts.txt"
    hosts.write_text("# valley\norchard\nfarm/barn  # second board pin\n\norchard\n")
    done = rounds("--ssh", fake_ssh, "--hosts", str(hosts), "--json")

    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert [error.message for error in Draft202012Validator(load("rounds")).iter_errors(answer)] == []
    houses: list[dict[str, Any]] = answer["houses"]
    assert {house["host"]: house["status"]["site"] for house in houses} == {
        "orchard": "overwinter status --json",
        "farm/barn": "overwinter status --json --house barn",
    }


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 2, "no host is named"),
        (["--timeout", "0", "a"], 2, "--timeout 0: 1 to 120 seconds"),
        (["a b"], 2, "'a b' is no host"),
        (["a/b;rm"], 2, "'a/b;rm' is no host"),
        (["--hosts", "/nowhere/hosts", "a"], 1, "--hosts /nowhere/hosts: No such file or directory"),
        (["--unit", "K", "a"], 2, "--unit K: F or C"),
    ],
)
def test_what_cannot_be_asked_is_refused(words: list[str], code: int, said: str) -> None:
    done = rounds(*words)

    assert (done.returncode, done.stdout) == (code, "")
    assert said in done.stderr


def test_the_exit_code_can_tell_the_worst_grade(fake_ssh: str) -> None:
    assert rounds("--ssh", fake_ssh, "--exit-code", "orchard").returncode == 0
    assert rounds("--ssh", fake_ssh, "--exit-code", "orchard", "refuses").returncode == 3


class Sshd:
    """A real sshd on loopback, that lets the tests' own user in with a key made for it."""

    def __init__(self, folder: Path) -> None:
        folder.chmod(0o700)
        for name in ("host", "user"):
            subprocess.run(
                ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(folder / name)], check=True
            )
        (folder / "authorized").write_text((folder / "user.pub").read_text())
        (folder / "authorized").chmod(0o600)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self.config = folder / "sshd_config"
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []

    def start(self, environment: dict[str, str]) -> None:
        assert SSHD is not None
        # The environment of a session: which house `overwinter status` speaks to there.
        sets = " ".join(f'{key}="{value}"' for key, value in environment.items())
        self.config.write_text(
            f"ListenAddress 127.0.0.1\nPort {self.port}\nHostKey {self.folder}/host\n"
            f"AuthorizedKeysFile {self.folder}/authorized\nPidFile none\nUsePAM no\n"
            f"StrictModes no\nPasswordAuthentication no\nSetEnv {sets}\n"
        )
        if os.geteuid() == 0:
            Path("/run/sshd").mkdir(exist_ok=True)
        with (self.folder / "sshd.log").open("wb") as log:
            process = subprocess.Popen([SSHD, "-D", "-e", "-f", str(self.config)], stdout=log, stderr=log)
        self.processes.append(process)
        deadline = time.monotonic() + 10.0
        while True:
            assert process.poll() is None, (self.folder / "sshd.log").read_text()
            assert time.monotonic() < deadline, (self.folder / "sshd.log").read_text()
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1.0):
                return
            time.sleep(0.05)

    def close(self) -> None:
        for process in self.processes:
            process.send_signal(signal.SIGTERM)
            process.wait(10)


@pytest.fixture
def sshd(tmp_path: Path) -> Iterator[Sshd]:
    if SSHD is None:
        pytest.skip("sshd is not installed (Debian: openssh-server)")
    folder = tmp_path / "ssh"
    folder.mkdir()
    server = Sshd(folder)
    yield server
    server.close()


@pytest.fixture
def listens_and_says_nothing() -> Iterator[int]:
    """A port where a connection is taken and never answered: a host that hangs."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(8)
        yield server.getsockname()[1]


def test_three_houses_over_a_real_ssh_one_down_one_hanging(
    sshd: Sshd, listens_and_says_nothing: int, tmp_path: Path
) -> None:
    """Within ten seconds, whatever the other two do."""
    house = House(tmp_path / "house")
    house.reads(3.0)
    tools = tmp_path / "bin"
    tools.mkdir()
    program = tools / "overwinter"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m overwinter "$@"\n')
    program.chmod(0o755)
    path = f"{tools}:{os.environ['PATH']}"
    try:
        house.start()
        sshd.start(
            {
                "PATH": path,
                "OVERWINTER_SOCKET": str(house.socket),
                "PYTHONPATH": os.environ.get("PYTHONPATH", "."),
            }
        )
        with socket.socket() as unused:
            unused.bind(("127.0.0.1", 0))
            closed_port = unused.getsockname()[1]
        config = tmp_path / "ssh_config"
        config.write_text(
            "".join(
                f"Host {name}\n  Port {port}\n"
                for name, port in (
                    ("orchard", sshd.port),
                    ("mill", closed_port),
                    ("lake", listens_and_says_nothing),
                )
            )
            + f"Host *\n  HostName 127.0.0.1\n  User {getpass.getuser()}\n  IdentityFile {sshd.folder}/user\n"
            f"  StrictHostKeyChecking no\n  UserKnownHostsFile /dev/null\n  LogLevel ERROR\n"
        )
        began = time.monotonic()
        done = rounds("--ssh", f"ssh -F {config}", "--json", "orchard", "mill", "lake")
        took_s = time.monotonic() - began
    finally:
        house.close()

    houses = {each["host"]: each for each in json.loads(done.stdout)["houses"]}
    assert took_s < 10.0
    assert done.returncode == 1
    assert houses["orchard"]["reached"], (houses["orchard"], (sshd.folder / "sshd.log").read_text())
    assert houses["orchard"]["status"]["temperature_c"] == pytest.approx(3.0)
    assert "Connection refused" in houses["mill"]["error"]
    assert not houses["lake"]["reached"]
    assert list(houses) == ["lake", "mill", "orchard"], "the unreached on top"
