"""Install, use, upgrade, downgrade, uninstall: on a clean machine, without a network or a running systemd.

One story is told once, because building a version takes its time; each test looks at one promise in it.
"""

import json
import os
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from overwinter.show.text import NOT_ISOLATED
from tests.install.machine import (
    PYTHON,
    TREE,
    WHEELS,
    Listing,
    Machine,
    copy_source,
    gone,
    machine,
    refuse_to_run,
)

SITE = """\
[site]
name = "bench"
unit = "F"

[[sensor]]
name = "by the pump"
role = "control"
kind = "simulated"

[relay]
kind = "simulated"
"""
NEW_SITE = SITE.replace('unit = "F"', 'unit = "F"\nroof = "tin"')
"""With a key that only the version to come knows."""

SITE_FILE, SETTINGS = "/etc/overwinter/site.toml", "/var/lib/overwinter/settings.toml"
LOGBOOK, COMMAND = "/var/log/overwinter/logbook.jsonl", "/usr/local/bin/overwinter"
UNITS = "/usr/local/lib/systemd/system"
DROP_IN = "/etc/systemd/system/overwinter.service.d/own.conf"
BOOT = "/etc/systemd/system/multi-user.target.wants/overwinter.service"
NEW_VERSION = "9.9.1"
NEWER_KEY = "\n[comfort]\nsoft = 1.5  # of a version to come\n"
SECONDS = 20.0


MANAGER = """#!/bin/sh
echo "$@" >>/tmp/asked
case "$*" in
*list-units*) echo "overwinter.service loaded active running overwinter" ;;
*MainPID*) echo {pid} ;;
restart*) exit {end} ;;
esac
"""


class Story:
    """What was seen at each stage."""

    def __init__(self) -> None:
        self.said: dict[str, str] = {}
        self.listings: dict[str, Listing] = {}
        self.files: dict[str, dict[str, bytes]] = {}
        self.versions: dict[str, list[str]] = {}
        self.facts: dict[str, str] = {}
        self.status: dict[str, dict[str, object]] = {}

    def keep(self, stage: str, here: Machine) -> None:
        """Note what lies on the machine now."""
        self.listings[stage] = here.changed()
        kept = (SITE_FILE, SETTINGS, LOGBOOK, DROP_IN)
        self.files[stage] = {name: here.path(name).read_bytes() for name in kept if here.path(name).exists()}
        self.versions[stage] = sorted(path.name for path in here.path("/opt/overwinter/versions").glob("*"))


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machine]:
    refuse_to_run()
    folder = tmp_path_factory.mktemp("install")
    source, wheels = folder / "source", folder / "wheels"
    copy_source(source)
    made = subprocess.run(
        ["make", "--silent", "-C", str(source), "wheels", f"WHEELS={wheels}", f"PYTHON={PYTHON}"],
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode != 0:
        pytest.skip(f"no packages to install from (a package index is needed once): {made.stderr[-800:]}")
    with machine(folder) as clean:
        copy_source(clean.path(TREE))
        shutil.copytree(wheels, clean.path(WHEELS))
        yield clean


@pytest.fixture(scope="module")
def story(here: Machine) -> Story:
    told = Story()
    told.said["first"] = here.make("install")
    told.keep("first", here)
    told.facts["first"] = here.run(COMMAND, "--version")
    elsewhere = (f"--{name}=/tmp/{name}" for name in ("state", "logs", "socket"))
    told.facts["unready"] = here.run(COMMAND, "guard", *elsewhere, check=False)
    told.said["again"] = here.make("install")
    told.keep("again", here)
    # As if the power had gone after the switch, before the units were in place and enabled.
    for name in ("/opt/overwinter/begun", BOOT, f"{UNITS}/overwinter.service"):
        here.path(name).unlink()
    told.said["resumed"] = here.make("install")
    told.keep("resumed", here)

    here.path(SITE_FILE).write_text(SITE)
    here.run("install", "-D", "/usr/local/lib/systemd/system/overwinter.socket", DROP_IN)
    here.run("usermod", "-aG", "overwinter", "nobody")
    for folder in ("/var/lib/overwinter", "/var/log/overwinter", "/run/overwinter"):  # as the unit would
        here.run("install", "-d", "-o", "overwinter", "-g", "overwinter", folder)
    with guard(here) as running:
        told.said["band"] = here.run(COMMAND, "band", "35F", "41F")
        here.run(COMMAND, "note", "a new lamp")
        told.status["used"] = json.loads(here.run(COMMAND, "status", "--json"))
        told.keep("used", here)
        become(here, NEW_VERSION)
        with service_manager(here, running.pid, fails=True):
            told.said["gone back"] = here.make("install", check=False)
        told.keep("gone back", here)
        told.facts["gone back"] = here.run(COMMAND, "--version")
        with service_manager(here, running.pid, fails=False) as asked:
            told.said["upgrade"] = here.make("install")
            told.facts["asked"] = asked.read_text()
        told.keep("upgrade", here)
        told.facts["upgrade"] = here.run(COMMAND, "--version")
        # The guard from before goes on until it is restarted, and can import what it needs.
        told.status["over"] = json.loads(here.run(COMMAND, "status", "--json"))
    told.facts["broken off"] = break_off(here)
    told.keep("broken off", here)

    here.path(SITE_FILE).write_text(NEW_SITE)
    become(here, None)
    told.said["refused"] = here.make("install", check=False)
    told.facts["refused"] = here.run(COMMAND, "--version")
    here.path(SITE_FILE).write_text(SITE)
    with here.path(SETTINGS).open("a") as settings:
        settings.write(NEWER_KEY)
    told.keep("before downgrade", here)
    told.said["downgrade"] = here.make("install")
    told.facts["downgrade"] = here.run(COMMAND, "--version")
    with guard(here):
        told.status["downgrade"] = json.loads(here.run(COMMAND, "status", "--json"))
    told.keep("downgrade", here)
    told.said["full"] = on_a_full_disk(here)

    told.said["uninstall"] = here.make("uninstall")
    told.keep("uninstall", here)
    told.facts["user kept"] = here.run("getent", "passwd", "overwinter")
    told.said["purge"] = here.make("uninstall", "PURGE=1")
    told.keep("purge", here)
    told.facts["user gone"] = here.run("getent", "passwd", "overwinter", check=False)
    return told


@contextmanager
def guard(here: Machine) -> Iterator["subprocess.Popen[str]"]:
    """The guard as its unit would run it, with simulated things."""
    folders = {
        "CONFIGURATION_DIRECTORY": "/etc/overwinter",
        "STATE_DIRECTORY": "/var/lib/overwinter",
        "LOGS_DIRECTORY": "/var/log/overwinter",
        "RUNTIME_DIRECTORY": "/run/overwinter",
    }
    user = ("setpriv", "--reuid=overwinter", "--regid=overwinter", "--init-groups")
    process = here.start(*user, COMMAND, "guard", **folders)
    try:
        until = time.monotonic() + SECONDS
        while '"version"' not in (said := here.run(COMMAND, "status", "--json", check=False)):
            assert process.poll() is None, said
            assert time.monotonic() < until, said
            time.sleep(0.2)
        yield process
    finally:
        process.terminate()
        process.communicate(timeout=SECONDS)


@contextmanager
def service_manager(here: Machine, guard_pid: int, *, fails: bool) -> Iterator[Path]:
    """A stand-in for a running systemd: has the guard, takes notes, and may find that it does not start."""
    log, program = here.path("/tmp/asked"), here.path("/usr/local/sbin/systemctl")
    here.path("/run/systemd/system").mkdir(parents=True)
    program.write_text(MANAGER.format(pid=guard_pid, end=int(fails)))
    program.chmod(0o755)
    log.write_text("")
    try:
        yield log
    finally:
        program.unlink()
        here.path("/run/systemd/system").rmdir()


def become(here: Machine, version: str | None) -> None:
    """Put another version's source in the tree's place; None: the one of this repository."""
    shutil.rmtree(here.path(TREE))
    copy_source(here.path(TREE))
    if version is None:
        return
    init = here.path(TREE) / "src/overwinter/__init__.py"
    init.write_text(re.sub('__version__ = ".*"', f'__version__ = "{version}"', init.read_text()))
    site = here.path(TREE) / "src/overwinter/settings/site.py"
    text = site.read_text()
    assert text.count("    head.finish()\n") == 1
    site.write_text(text.replace("    head.finish()\n", '    head.text("roof", "tile")\n    head.finish()\n'))
    (here.path(TREE) / "systemd/overwinter-later.target").write_text(
        "[Unit]\nDescription=of a later version\n"
    )


def break_off(here: Machine) -> str:
    """Cut an upgrade off while the new version is being built, as a power cut would; what runs then."""
    become(here, "9.9.2")
    before = set(here.path("/opt/overwinter/versions").iterdir())
    process = here.start("make", "--silent", "-C", TREE, "install", f"WHEELS={WHEELS}")
    until = time.monotonic() + SECONDS
    versions = here.path("/opt/overwinter/versions")
    while not any((half / "venv/lib").exists() for half in set(versions.iterdir()) - before):
        assert process.poll() is None
        assert time.monotonic() < until
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
    return here.run(COMMAND, "--version")


def on_a_full_disk(here: Machine) -> str:
    """What an upgrade says where its folder has too little room."""
    become(here, "9.9.3")
    script = 'mount -t tmpfs -o size=50m none /opt/overwinter/versions && make --silent -C "$0" install "$1"'
    return here.run("sh", "-c", script, TREE, f"WHEELS={WHEELS}", check=False)


def test_the_first_installation_runs_nothing_before_the_owner_said_what_is_wired(story: Story) -> None:
    said = story.said["first"]
    assert "NOTHING IS GUARDED YET" in said
    assert "relay.pin is missing" in said
    assert said.count("relay.pin is missing") == 1
    assert "sudo systemctl start overwinter" in said
    assert "relay.pin is missing" in story.facts["unready"], "the guard itself refuses the example"


def test_what_is_installed_runs_under_the_name_that_the_unit_calls(story: Story) -> None:
    assert re.fullmatch(r"overwinter \d+\.\d+\.\d+\S*\n", story.facts["first"])
    unit = story.listings["first"][UNITS[1:] + "/overwinter.service"]
    assert unit[0] == "-rw-r--r--"
    assert story.listings["first"][COMMAND[1:]][4] == "/opt/overwinter/current/venv/bin/overwinter"


def test_everything_a_shell_and_systemd_look_for_is_in_its_place(story: Story) -> None:
    share = "usr/local/share"
    assert {
        *(f"{UNITS[1:]}/overwinter{kind}" for kind in (".service", ".socket", "@.service", "@.socket")),
        "usr/local/lib/sysusers.d/overwinter.conf",
        *(f"{share}/man/man{page}" for page in ("1/overwinter.1", "8/overwinter.8")),
        *(f"{share}/man/man5/overwinter-{page}.toml.5" for page in ("site", "settings")),
        f"{share}/bash-completion/completions/overwinter",
        f"{share}/zsh/site-functions/_overwinter",
        f"{share}/fish/vendor_completions.d/overwinter.fish",
        BOOT[1:],
    } <= story.listings["first"].keys()


def test_files_of_the_program_are_roots_and_nobody_else_may_write_them(story: Story) -> None:
    listing = story.listings["first"].items()
    ours = {name: row for name, row in listing if name.startswith(("opt/", "usr/local/"))}
    assert len(ours) > 1000
    files = {name: row for name, row in ours.items() if not str(row[0]).startswith("l")}
    assert [name for name, row in files.items() if row[1] != 0 or "w" in str(row[0])[3:]] == []


def test_installing_twice_changes_nothing_anywhere_and_says_so(story: Story) -> None:
    assert story.listings["again"] == story.listings["first"]
    assert "nothing had to be changed" in story.said["again"]
    assert "nothing had to be changed" not in story.said["first"]


def test_an_installation_cut_off_after_the_switch_is_finished_by_the_next(story: Story) -> None:
    resumed, first = story.listings["resumed"], story.listings["first"]
    assert resumed.keys() == first.keys()
    assert resumed[BOOT[1:]][4] == first[BOOT[1:]][4] == f"{UNITS}/overwinter.service"
    assert "building" not in story.said["resumed"]


def test_the_systems_own_python_is_not_touched(story: Story) -> None:
    python = re.compile(r"usr/(local/)?(lib/python3|bin/(pip|python))")
    assert [name for name in story.listings["downgrade"] if python.match(name)] == []


def test_the_service_user_is_a_member_of_gpio_and_has_no_login(here: Machine, story: Story) -> None:
    _, _, _, _, _, folder, shell = story.facts["user kept"].strip().split(":")
    assert shell.endswith("/nologin")
    assert folder == "/"
    group = here.run("getent", "group", "gpio")
    assert group.startswith("gpio:")
    sysusers = (Path(__file__).parents[2] / "systemd/overwinter.sysusers").read_text()
    assert [line.split()[2] for line in sysusers.splitlines() if line.startswith(("u", "g"))] == ["-", "-"]


def test_an_upgrade_keeps_settings_site_logbook_and_what_was_added_to_the_unit(story: Story) -> None:
    before, after = story.files["used"], story.files["upgrade"]
    assert b"low = 35" in before[SETTINGS]
    for name in (SETTINGS, SITE_FILE, DROP_IN):
        assert after[name] == before[name], name
    assert after[LOGBOOK].startswith(before[LOGBOOK])
    assert b"a new lamp" in after[LOGBOOK]
    assert story.facts["upgrade"] == f"overwinter {NEW_VERSION}\n"
    assert f"{UNITS[1:]}/overwinter-later.target" in story.listings["upgrade"]


def test_a_guard_of_another_version_is_restarted(story: Story) -> None:
    asked = story.facts["asked"].splitlines()
    assert "daemon-reload" in asked
    assert "restart overwinter.service" in asked
    assert "overwinter.service is restarted" in story.said["upgrade"]
    assert "building" not in story.said["upgrade"], "what is built already is taken"


def test_a_version_that_does_not_start_goes_and_the_one_before_comes_back(story: Story) -> None:
    assert "The version before is back in place" in story.said["gone back"]
    assert story.facts["gone back"] == story.facts["first"]
    assert f"{UNITS[1:]}/overwinter-later.target" not in story.listings["gone back"]


def test_an_old_version_stays_for_as_long_as_a_guard_runs_from_it(story: Story) -> None:
    assert "something still runs from it" in story.said["upgrade"]
    assert len(story.versions["upgrade"]) == 2
    assert story.status["over"]["version"] == story.status["used"]["version"] != NEW_VERSION
    assert len(story.versions["downgrade"]) == 1


def test_an_upgrade_cut_off_in_the_middle_leaves_the_version_before_at_work(story: Story) -> None:
    assert story.facts["broken off"] == f"overwinter {NEW_VERSION}\n"
    half = set(story.versions["broken off"]) - set(story.versions["upgrade"])
    assert len(half) == 1
    assert not half & set(story.versions["before downgrade"]), "the next installation takes it away"


def test_a_version_that_would_refuse_the_site_file_is_not_installed(story: Story) -> None:
    assert "roof" in story.said["refused"]
    assert "ANYWAY=1" in story.said["refused"]
    assert story.facts["refused"] == f"overwinter {NEW_VERSION}\n"


def test_a_downgrade_heats_on_and_loses_no_key_that_it_does_not_know(story: Story) -> None:
    assert story.facts["downgrade"] == story.facts["first"]
    assert story.files["downgrade"][SETTINGS] == story.files["before downgrade"][SETTINGS]
    assert NEWER_KEY.encode() in story.files["downgrade"][SETTINGS]
    band = story.status["downgrade"]["band"]
    assert isinstance(band, dict)
    assert band["low_c"] == pytest.approx((35.0 - 32.0) / 1.8, abs=1e-3)
    assert f"{UNITS[1:]}/overwinter-later.target" not in story.listings["downgrade"]


def test_a_full_disk_is_told_before_anything_is_changed(story: Story) -> None:
    assert re.search(r"\d+ MB are free, \d+ MB are needed; nothing was changed", story.said["full"])


@pytest.mark.parametrize("stage", ["uninstall", "purge"])
def test_whoever_uninstalls_reads_that_nothing_is_isolated(story: Story, stage: str) -> None:
    assert story.said[stage].startswith(NOT_ISOLATED)


def test_uninstalling_keeps_what_is_the_owners(story: Story) -> None:
    assert story.files["uninstall"] == story.files["downgrade"]
    assert story.files["uninstall"].keys() == {SITE_FILE, SETTINGS, LOGBOOK, DROP_IN}
    owners = ("etc/overwinter", "var/l", str(Path(DROP_IN).parent)[1:])
    assert [name for name in left(story, "uninstall") if not name.startswith(owners)] == []


def left(story: Story, stage: str) -> list[str]:
    """Whatever on the machine still bears our name."""
    listing = story.listings[stage].items()
    return [name for name, row in listing if "overwinter" in name and not gone(row)]


def test_uninstalling_with_purge_leaves_no_trace(story: Story) -> None:
    assert left(story, "purge") == []
    assert story.facts["user gone"] == ""
    assert "userdel" not in story.said["purge"]
    folders = {name for name, row in story.listings["purge"].items() if str(row[0]).startswith("d")}
    made = {f"usr/local/share/{name}" for name in ("bash-completion", "fish/vendor_completions.d")}
    below = {name for name in made if not Path("/", name).exists()}
    assert folders & below == set(), "folders that only we needed go with us"
