"""Where things are."""

from pathlib import Path

import pytest

from overwinter.cli import places as places_module
from overwinter.cli.options import Stop
from overwinter.cli.places import Places, places

WHAT = ("site", "state", "logs", "socket")


def all_of(found: Places) -> list[str]:
    return [found.site, found.state, found.logs, found.socket]


@pytest.fixture
def as_root(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(places_module, "SYSTEM_ROOT", "")
    monkeypatch.setattr(places_module, "_is_root", lambda: True)


@pytest.fixture
def as_user(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """An ordinary user whose folders all lie in a home of their own."""
    home = tmp_path / "home"
    (home / "run").mkdir(parents=True)
    (home / "run").chmod(0o700)  # platformdirs takes no other
    monkeypatch.setattr(places_module, "_is_root", lambda: False)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(home / "config"))
    monkeypatch.setenv("XDG_STATE_HOME", str(home / "state"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(home / "run"))
    return home


def set_overwinter(monkeypatch: pytest.MonkeyPatch) -> None:
    for what in WHAT:
        monkeypatch.setenv(f"OVERWINTER_{what.upper()}", f"/variable/{what}")


def set_systemd(monkeypatch: pytest.MonkeyPatch, name: str = "overwinter") -> None:
    monkeypatch.setenv("CONFIGURATION_DIRECTORY", f"/d/etc/{name}")
    monkeypatch.setenv("STATE_DIRECTORY", f"/d/lib/{name}:/d/lib/more")
    monkeypatch.setenv("LOGS_DIRECTORY", f"/d/log/{name}")
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"/d/run/{name}:/d/run/more")


@pytest.mark.usefixtures("as_root")
@pytest.mark.parametrize("client", [True, False])
def test_the_first_that_applies_wins(monkeypatch: pytest.MonkeyPatch, client: bool) -> None:
    options = {what: f"/option/{what}" for what in WHAT}

    assert all_of(places({}, client=client)) == [
        "/etc/overwinter/site.toml",
        "/var/lib/overwinter",
        "/var/log/overwinter",
        "/run/overwinter/control.sock",
    ]
    set_systemd(monkeypatch)
    assert all_of(places({}, client=client)) == [
        "/d/etc/overwinter/site.toml",
        "/d/lib/overwinter",
        "/d/log/overwinter",
        "/d/run/overwinter/control.sock",
    ]
    set_overwinter(monkeypatch)
    assert all_of(places({}, client=client)) == [f"/variable/{what}" for what in WHAT]
    assert all_of(places(options, client=client)) == [f"/option/{what}" for what in WHAT]


@pytest.mark.usefixtures("as_root")
def test_each_place_is_found_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OVERWINTER_LOGS", "/variable/logs")
    monkeypatch.setenv("OVERWINTER_STATE", "")

    found = places({"socket": "/option/socket"}, client=True)

    assert all_of(found) == [
        "/etc/overwinter/site.toml",
        "/var/lib/overwinter",
        "/variable/logs",
        "/option/socket",
    ]
    assert [found.is_named(what) for what in WHAT] == [False, False, True, True]


def test_an_ordinary_user_has_folders_of_his_own(as_user: Path) -> None:
    found = places({}, client=False)

    assert found.site == str(as_user / "config/overwinter/site.toml")
    assert found.state == str(as_user / "state/overwinter")
    assert found.logs.startswith(str(as_user / "state/overwinter"))
    assert found.socket == str(as_user / "run/overwinter/control.sock")


def test_an_ordinary_users_client_finds_the_system_guard_and_its_logbook(as_user: Path) -> None:
    system = Path(places_module.SYSTEM_ROOT)
    (system / "run/overwinter").mkdir(parents=True)
    (system / "run/overwinter/control.sock").touch()

    assert all_of(places({}, client=True)) == [
        f"{system}/etc/overwinter/site.toml",
        f"{system}/var/lib/overwinter",
        f"{system}/var/log/overwinter",
        f"{system}/run/overwinter/control.sock",
    ]
    assert places({}, client=False).socket.startswith(str(as_user)), "the guard itself cannot take that one"
    assert places({"house": "cabin"}, client=True).socket.startswith(str(as_user)), "another house's guard"


@pytest.mark.usefixtures("as_user")
def test_without_a_login_a_folder_is_found_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR")

    assert places({}, client=True).socket.endswith("/overwinter/control.sock")


@pytest.mark.usefixtures("as_root")
def test_a_house_has_the_folders_of_its_instance(monkeypatch: pytest.MonkeyPatch) -> None:
    expected = [
        "/etc/overwinter@cabin/site.toml",
        "/var/lib/overwinter@cabin",
        "/var/log/overwinter@cabin",
        "/run/overwinter@cabin/control.sock",
    ]

    assert all_of(places({"house": "cabin"}, client=True)) == expected
    set_overwinter(monkeypatch)
    set_systemd(monkeypatch)
    found = places({"house": "cabin"}, client=True)
    assert all_of(found) == expected, "variables that may speak of another house"
    assert not found.is_named("socket")
    set_systemd(monkeypatch, "overwinter@cabin")
    assert places({"house": "cabin"}, client=False).state == "/d/lib/overwinter@cabin"
    assert places({"house": "cabin", "logs": "/option"}, client=True).logs == "/option"


@pytest.mark.parametrize("name", ["", "../x", "a/b", "a b", ".hidden", "ü", "x" * 65])
def test_a_name_that_leads_elsewhere_is_no_house(name: str) -> None:
    with pytest.raises(Stop, match="no name of a house") as stop:
        places({"house": name}, client=True)

    assert stop.value.code == 2
    assert "allowed" in stop.value.lines[1]
