"""What works and could be better is said, and what cannot be known is said too: neither is a fault."""

from collections.abc import Callable
from typing import Any

import pytest

from overwinter.survey.finding import Finding, Grade
from overwinter.survey.machine import Space
from tests.survey.machine import PASSED, Fake
from tests.survey.spoiling import both, drop, edit, exit_code, put, site, unit

VOLATILE = "[Journal]\nStorage=volatile\n"


def found(machine: Fake, grade: Grade) -> dict[str, Finding]:
    return {one.code: one for one in machine.survey().of(grade)}


def half_full(machine: Fake) -> None:
    space = Space(free_bytes=2 * 10**9, total_bytes=30 * 10**9, free_files=10**6, total_files=10**7)
    machine.spaces = {machine.at.state: space, machine.at.logs: space}


def as_ada(machine: Fake) -> None:
    machine.caller_is = (1000, frozenset({1000, 986}))


HINTS: list[Any] = [
    pytest.param(
        site('name = "by the riser"\nrole = "control"', 'name = "by the riser"\nrole = "extra"'),
        "sensor-spare",
        "only one",
        "second one",
        id="no spare sensor",
    ),
    pytest.param(
        site('role = "outdoor"', 'role = "extra"'), "sensor-outdoor", "none", "shade", id="no outdoor one"
    ),
    pytest.param(
        put("/usr/lib/systemd/journald.conf.d/40-rpi-volatile-storage.conf", VOLATILE),
        "journal-volatile",
        "in memory",
        "Storage=persistent",
        id="the journal is volatile, by a drop-in",
    ),
    pytest.param(
        drop("/var/log/journal"), "journal-volatile", "in memory", "99-keep.conf", id="no journal folder"
    ),
    pytest.param(
        put("/proc/swaps", "Filename Type Size Used Priority\n/var/swap file 204796 0 -2\n"),
        "swap",
        "/var/swap",
        "swapoff",
        id="swap on the card",
    ),
    pytest.param(half_full, "disk-full", "2.0 GB free", "du -xh", id="less than a tenth free"),
    pytest.param(
        put("/sys/bus/mmc/devices/mmc0:0001/life_time", "0x08 0x01\n"),
        "disk-worn",
        "70 to 80 %",
        "new card",
        id="wearing",
    ),
    pytest.param(
        put("/sys/bus/mmc/devices/mmc0:0001/pre_eol_info", "0x02\n"),
        "disk-worn",
        "80 %",
        "new card",
        id="spare blocks",
    ),
    pytest.param(
        both(drop("/run/systemd/timesync"), put("/sys/class/rtc/rtc0/name", "rtc-ds1307\n")),
        "clock",
        "goes by a battery clock",
        "timedatectl",
        id="unsynchronised, with a battery clock",
    ),
    pytest.param(as_ada, "caller", "ada", "sudo usermod -aG overwinter ada", id="the caller may not change"),
    pytest.param(
        both(as_ada, edit("/etc/group", "overwinter:x:997:\n", "")),
        "caller",
        "ada",
        "groupadd --system overwinter",
        id="nobody may: there is no such group",
    ),
    pytest.param(
        site('command = ["/usr/local/bin/tell-me"]', ""),
        "notices",
        "nobody",
        "site.toml",
        id="nobody is told",
    ),
]


@pytest.mark.parametrize(("spoil", "code", "value", "fix"), HINTS)
def test_a_hint_is_given_and_is_no_fault(
    machine: Fake,
    monkeypatch: pytest.MonkeyPatch,
    spoil: Callable[[Fake], None],
    code: str,
    value: str,
    fix: str,
) -> None:
    spoil(machine)

    hints = found(machine, Grade.HINT)

    assert list(hints) == [code]
    assert value in f"{hints[code].thing} {hints[code].value}", hints[code]
    assert fix in f"{hints[code].fix} {hints[code].command}", hints[code]
    assert found(machine, Grade.FAULT) == {}
    assert exit_code(machine, monkeypatch) == 0


def test_a_window_in_which_two_damaged_readings_decide_is_a_hint(machine: Fake) -> None:
    assert "window" in found(machine, Grade.SOUND)

    edit("/var/lib/overwinter/settings.toml", "high = 5.0\n", "high = 5.0\n[filter]\nwindow = 3\n")(machine)

    hint = found(machine, Grade.HINT)["window"]
    assert (hint.thing, hint.value) == ("filter.window", "is 3")
    assert hint.command == "overwinter set filter.window=5"


@pytest.mark.parametrize(
    ("changes", "code", "value"),
    [
        pytest.param({"proof": None}, "proof", "never been one", id="never proven"),
        pytest.param(
            {"proof": {**PASSED, "t": "2025-11-01T09:00:00Z"}}, "proof", "435 days ago", id="last year's"
        ),
        pytest.param({"proof": {**PASSED, "verdict": "unfinished"}}, "proof", "unfinished", id="unfinished"),
        pytest.param({"proof": {**PASSED, "t": "soon"}}, "proof", "date is not known", id="no date"),
        pytest.param(
            {"proof": {**PASSED, "t": "2026-10-20T09:00:00"}}, "proof", "date is not known", id="no zone"
        ),
        pytest.param(
            {"mode": "observe", "temperature_c": 19.0, "outdoor_c": 17.0}, "observe", "observe", id="summer"
        ),
        pytest.param(
            {"alarms": [{"code": "damp", "acknowledged": True}]}, "alarms-known", "damp", id="known alarm"
        ),
        pytest.param({"health": "maintenance-required"}, "health", "maintenance", id="maintenance"),
        pytest.param(
            {"warnings": ["comes back to freeze in May"]}, "guard-warning", "in May", id="a warning"
        ),
    ],
)
def test_what_the_guard_says_may_be_a_hint(
    says: Callable[..., Fake], changes: dict[str, object], code: str, value: str
) -> None:
    machine = says(**changes)

    hints = found(machine, Grade.HINT)

    assert list(hints) == [code]
    assert value in f"{hints[code].thing} {hints[code].value}"
    assert found(machine, Grade.FAULT) == {}


def test_without_a_guard_the_proof_is_taken_from_its_state_file(dark: Fake) -> None:
    assert "proof" not in found(dark, Grade.HINT)

    dark.keep_proof(None)

    assert found(dark, Grade.HINT)["proof"].command == "overwinter prove"


def test_a_low_end_outside_freeze_is_only_a_hint(dark: Fake) -> None:
    dark.edit(dark.at.settings, "low = 2.0", "low = 0.5")
    dark.edit(dark.at.settings, '"freeze"', '"warm"')

    assert "in mode warm" in found(dark, Grade.HINT)["low-end"].thing


def test_compressed_memory_and_a_later_drop_in_are_no_hints(machine: Fake) -> None:
    machine.put("/proc/swaps", "Filename Type Size Used Priority\n/dev/zram0 partition 204796 0 100\n")
    machine.put("/usr/lib/systemd/journald.conf.d/40-rpi-volatile-storage.conf", VOLATILE)
    machine.put("/etc/systemd/journald.conf.d/99-keep.conf", "[Journal]\nStorage=persistent\n")

    assert found(machine, Grade.HINT) == {}


def test_a_drop_in_of_the_same_name_replaces_the_vendor_s(machine: Fake) -> None:
    machine.put("/usr/lib/systemd/journald.conf.d/40-rpi-volatile-storage.conf", VOLATILE)
    machine.put("/etc/systemd/journald.conf.d/40-rpi-volatile-storage.conf", "")

    assert found(machine, Grade.HINT) == {}


UNKNOWN: list[Any] = [
    pytest.param(
        lambda machine: machine.forbidden.add("/dev/gpiochip0"),
        "pins-busy",
        "denied",
        "sudo overwinter check",
        id="lines",
    ),
    pytest.param(
        lambda machine: machine.forbidden.add(machine.at.site_copy),
        "site-taken",
        "denied",
        "sudo",
        id="the copy",
    ),
    pytest.param(
        lambda machine: machine.forbidden.add("/proc/self/mountinfo"),
        "storage",
        "denied",
        "sudo",
        id="mounts",
    ),
    pytest.param(
        drop("/boot/firmware/config.txt"), "boot-config", "config.txt", "boot partition", id="no config.txt"
    ),
    pytest.param(drop("/run/systemd/system"), "systemd", "does not run", "stands in for it", id="no systemd"),
    pytest.param(
        lambda machine: machine.manager.clear(),
        "board-watchdog",
        "does not tell",
        "sudo",
        id="an old systemd",
    ),
    pytest.param(
        site("watts = 250.0", ""), "blind-heat", "without heater.watts", "Enter heater.watts", id="no watts"
    ),
    pytest.param(
        site("breaker_a = 15.0\nrelay_resistive_a = 30.0", "breaker_a = 15.0"),
        "circuit",
        "relay_resistive_a is not given",
        "Enter it",
        id="no relay rating",
    ),
]


@pytest.mark.parametrize(("spoil", "code", "value", "fix"), UNKNOWN)
def test_what_could_not_be_looked_at_is_said_and_never_called_sound(
    machine: Fake,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    spoil: Callable[[Fake], None],
    code: str,
    value: str,
    fix: str,
) -> None:
    spoil(machine)

    unknown = found(machine, Grade.UNKNOWN)

    assert code in unknown
    assert value in f"{unknown[code].thing} {unknown[code].value}", unknown[code]
    assert fix in f"{unknown[code].fix} {unknown[code].command}", unknown[code]
    assert code not in found(machine, Grade.SOUND)
    assert found(machine, Grade.FAULT) == {}
    assert exit_code(machine, monkeypatch) == 0
    told = capsys.readouterr()
    assert "not known, " in told.out.splitlines()[-1]
    assert " not known, which is not sound" in told.err, "for a script that goes by the exit code"


def test_without_a_building_blind_heat_is_not_known_and_what_to_enter_is_said(dark: Fake) -> None:
    text = (dark.root / dark.at.site.lstrip("/")).read_text()
    dark.put(dark.at.site, text[: text.index("[building]")] + text[text.index("[circuit]") :])

    one = found(dark, Grade.UNKNOWN)["blind-heat"]

    assert "[building] with its parts" in one.value
    assert "walls, roof, door, floor" in one.fix


def test_without_a_circuit_nothing_is_said_of_breaker_and_relay_but_that_it_is_not_known(dark: Fake) -> None:
    text = (dark.root / dark.at.site.lstrip("/")).read_text()
    dark.put(dark.at.site, text[: text.index("[circuit]")])

    report = dark.survey()

    assert [one.code for one in report.of(Grade.UNKNOWN)] == ["circuit", "watchdog"]
    assert not {"breaker", "relay-rating", "cord"} & {one.code for one in report.findings}


def test_an_unreadable_site_is_not_known_and_the_rest_is_still_looked_at(machine: Fake) -> None:
    machine.forbidden.add(machine.at.site)

    unknown = found(machine, Grade.UNKNOWN)

    assert unknown["site-unreadable"].command == "sudo overwinter check"
    assert {"watchdog", "disk-space", "clock", "guard"} <= found(machine, Grade.SOUND).keys()
    assert found(machine, Grade.FAULT) == {}


def test_a_dht_is_never_read_beside_the_guard(dark: Fake) -> None:
    dark.edit_site("[relay]", '[[sensor]]\nname = "old"\nrole = "extra"\nkind = "dht22"\npin = 4\n[relay]')

    one = found(dark, Grade.UNKNOWN)["sensor-silent"]

    assert one.thing == 'sensor "old"'
    assert one.command == "sudo systemctl start overwinter.service"


def test_a_board_that_tells_no_voltage_and_a_card_that_tells_no_wear_are_left_out(machine: Fake) -> None:
    machine.drop("/sys/devices")
    machine.drop("/sys/bus/mmc/devices/mmc0:0001/life_time")
    machine.drop("/sys/bus/mmc/devices/mmc0:0001/pre_eol_info")

    report = machine.survey()

    assert not {"under-voltage", "disk-wear", "disk-worn"} & {one.code for one in report.findings}
    assert report.is_clean


def test_an_active_low_relay_is_sound_once_config_txt_holds_it_released(machine: Fake) -> None:
    machine.edit_site("pin = 17", "pin = 17\nactive_high = false")
    machine.add("/boot/firmware/config.txt", "gpio=17=op,dh\n")

    assert "relay-boot" in found(machine, Grade.SOUND)


def test_a_relay_that_pulls_in_at_boot_with_contact_nc_gives_no_heat(machine: Fake) -> None:
    machine.edit_site("pin = 17", 'pin = 17\nactive_high = false\ncontact = "NC"')

    assert "that is no heat" in found(machine, Grade.SOUND)["relay-boot"].value


@pytest.mark.parametrize(
    ("user", "groups", "mode", "may"),
    [
        ("", "", 0o600, True),  # root
        ("overwinter", "gpio", 0o660, True),
        ("overwinter", "", 0o660, True),  # by /etc/group
        ("overwinter", "", 0o640, False),
        ("ada", "", 0o660, True),
        ("overwinter", "", 0o606, False),  # the group's rights come before everybody's
    ],
)
def test_access_to_the_lines_follows_user_groups_and_mode(
    machine: Fake, user: str, groups: str, mode: int, may: bool
) -> None:
    unit(".service", User=user, SupplementaryGroups=groups)(machine)
    machine.nodes["/dev/gpiochip0"] = machine.nodes["/dev/gpiochip0"].__class__(uid=0, gid=986, mode=mode)

    assert ("gpio-access" in found(machine, Grade.SOUND)) == may
