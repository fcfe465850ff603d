"""A machine in good order: nothing is found, and nothing is touched."""

from pathlib import Path

from overwinter.survey.finding import Grade
from overwinter.survey.report import Report
from tests.guard.house import House
from tests.survey.machine import Fake


def codes(report: Report, grade: Grade) -> list[str]:
    return [one.code for one in report.of(grade)]


def test_a_machine_in_good_order_has_no_fault_and_nothing_unknown(machine: Fake) -> None:
    report = machine.survey()

    assert codes(report, Grade.FAULT) == []
    assert codes(report, Grade.UNKNOWN) == []
    assert codes(report, Grade.HINT) == []
    assert report.is_clean


def test_everything_that_can_be_a_fault_was_looked_at(machine: Fake) -> None:
    """A subject that was skipped in silence would look sound."""
    sound = set(codes(machine.survey(), Grade.SOUND))

    assert sound >= {
        *("mode", "proof", "alarms", "limiter", "cord", "breaker", "relay-rating", "blind-heat"),
        *("service-enabled", "service-active", "socket-enabled", "socket-active", "watchdog", "version"),
        *("board-watchdog", "guard", "pin-factory", "sensor-silent", "sensor-twice", "sensor-spare"),
        *(
            "notices",
            "sensor-outdoor",
            "gpio-access",
            "pins-busy",
            "pin-kernel",
            "relay-boot",
            "site",
            "settings",
        ),
        *("site-taken", "settings-taken", "low-end", "settings-place", "logbook-place", "disk-space"),
        *("disk-errors", "disk-wear", "journal", "swap", "clock", "under-voltage", "guard-user", "caller"),
    }


def test_the_guard_is_asked_and_nothing_else_is_done_to_it(machine: Fake, guarded_house: House) -> None:
    before = {path: path.stat().st_mtime_ns for path in machine.root.rglob("*")}
    events = guarded_house.events()

    machine.survey()

    assert {path: path.stat().st_mtime_ns for path in machine.root.rglob("*")} == before
    assert [line for line in guarded_house.events() if line["event"] != "sample"] == [
        line for line in events if line["event"] != "sample"
    ]
    assert {argv[:2] for argv in machine.ran} == {("systemctl", "show")}
    assert machine.looked_at == [17], "and its line was only asked about"


def test_a_stopped_guard_is_not_woken_by_asking(machine: Fake) -> None:
    """systemd listens at the socket of a stopped guard: to connect would be to start it."""
    machine.unit(".service", ActiveState="inactive")
    asked = []
    machine.ask = lambda *argv: asked.append(argv) or {}  # type: ignore[method-assign,func-returns-value]

    report = machine.survey()

    assert asked == []
    assert "service-inactive" in codes(report, Grade.FAULT)


def test_a_guard_started_by_hand_is_still_asked(machine: Fake) -> None:
    machine.unit(".service", ActiveState="inactive")
    machine.unit(".socket", ActiveState="inactive")

    (found,) = [one for one in machine.survey().findings if one.code == "service-inactive"]

    assert "started by hand" in found.why
    assert "guard" in codes(machine.survey(), Grade.SOUND)


def test_without_a_guard_its_sensors_are_read_once_and_everything_else_is_still_looked_at(dark: Fake) -> None:
    report = dark.survey()

    assert codes(report, Grade.FAULT) == ["service-inactive"]
    assert codes(report, Grade.UNKNOWN) == ["watchdog"], "systemd tells it of a running service only"
    said = [one.value for one in report.of(Grade.SOUND) if one.code == "sensor-silent"]
    assert said == ["says 3.1 C", "says 3.3 C", "says 4.5 C"]


def test_an_empty_machine_is_told_of_and_never_an_error(tmp_path: Path) -> None:
    """No systemd, no board, no files, no guard."""
    (tmp_path / "root").mkdir()
    fake = Fake(tmp_path / "root", tmp_path / "none")
    for folder in list(fake.root.iterdir()):
        fake.drop(folder.name)

    report = fake.survey()

    assert {"site-missing", "guard-stopped"} <= set(codes(report, Grade.FAULT))
    assert {"systemd", "storage"} <= set(codes(report, Grade.UNKNOWN))
    assert not [one for one in report.findings if one.code == "unforeseen"]


def test_a_subject_that_breaks_down_says_so_and_hides_no_other(machine: Fake) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("nobody thought of this")

    machine.names = broken  # type: ignore[assignment]

    report = machine.survey()

    unforeseen = [one for one in report.of(Grade.UNKNOWN) if one.code == "unforeseen"]
    assert [one.thing for one in unforeseen] == ["the checks of storage", "the checks of board"]
    assert "nobody thought of this" in unforeseen[0].value
    assert {"relay-boot", "watchdog", "limiter"} <= set(codes(report, Grade.SOUND))
