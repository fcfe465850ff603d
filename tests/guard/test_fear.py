"""After a silence in the cold: pipes may have frozen, and somebody must know before the pump is turned on."""

from pathlib import Path

from overwinter.core.nouns import Code, Fact
from overwinter.rehearse.owner import OWNER
from overwinter.rehearse.run import Run
from tests.rehearse.lived import events, fault, live, scenario


def told(folder: Path, code: str = "may-have-frozen") -> list[str]:
    return [event["state"] for event in events(folder, "alarm") if event["code"] == code]


def test_a_long_power_cut_in_the_cold_is_told_with_what_to_do(tmp_path: Path) -> None:
    live(scenario(fault("power-cut", 6.0, 14.0), hours=22.0), tmp_path)
    gap = events(tmp_path, "gap")[-1]
    alarm = next(event for event in events(tmp_path, "alarm") if event["code"] == "may-have-frozen")

    assert told(tmp_path) == ["raised"]
    assert [pipe["verdict"] for pipe in gap["pipes"]] == ["may have"]
    assert "breaker" in alarm["text"]
    assert "never with a flame" in alarm["text"]


def test_a_short_one_in_a_warm_house_is_not(tmp_path: Path) -> None:
    live(scenario(fault("power-cut", 6.0, 0.25), hours=8.0), tmp_path)

    assert [pipe["verdict"] for pipe in events(tmp_path, "gap")[-1]["pipes"]] == ["no"]
    assert told(tmp_path) == []


def test_it_lasts_over_a_restart_until_it_is_acknowledged(tmp_path: Path) -> None:
    """The next power cut must not hide what the last one did."""
    seen: list[bool] = []

    def watch(run: Run) -> None:
        assert run.guard is not None
        if run.elapsed_s >= 25 * 3600.0 and not seen:
            seen.append(True)
            run.guard.port.quiet(OWNER)

    live(
        scenario(fault("power-cut", 6.0, 14.0), fault("guard-killed", 23.0, 0.05), hours=27.0),
        tmp_path,
        watch=watch,
    )

    assert told(tmp_path) == ["raised", "raised", "acknowledged", "cleared"]


def test_a_long_power_cut_is_an_alarm_for_a_day_and_a_short_one_is_none(tmp_path: Path) -> None:
    live(scenario(fault("power-cut", 3.0, 1.0), hours=26.0), tmp_path / "long")
    live(scenario(fault("power-cut", 3.0, 1.0), hours=30.0), tmp_path / "longer")
    live(scenario(fault("power-cut", 3.0, 0.4), hours=6.0), tmp_path / "short")

    assert told(tmp_path / "long", "gap") == ["raised"]
    assert told(tmp_path / "longer", "gap") == ["raised", "cleared"]
    assert told(tmp_path / "short", "gap") == []


def test_a_wrong_date_is_an_alarm_until_the_network_has_set_it(tmp_path: Path) -> None:
    def watch(run: Run) -> None:
        assert run.guard is not None
        if 3600.0 <= run.elapsed_s < 3660.0:
            run.guard._inbox.post(Fact(code=Code.CLOCK, present=True, text="the date is wrong"))

    live(scenario(fault("clock-jump", 2.0, 1.0, by=-7200.0), hours=4.0), tmp_path, watch=watch)

    assert told(tmp_path, "clock") == ["raised", "cleared"]
