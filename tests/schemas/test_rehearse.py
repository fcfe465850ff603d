"""What `rehearse --json` prints, against what its schema promises."""

import json
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import main
from tests.schemas.promised import changed, problems

SITE = """
[site]
name = "mill"
[[sensor]]
name = "one"
role = "control"
kind = "simulated"
[relay]
kind = "simulated"
[tariff]
per_kwh = 0.2
"""
SHORT = """
days = 0.25
weather = "design-day"
[[fault]]
kind = "sensor-lost"
at = "1h"
"""


@pytest.fixture
def outcome(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """Six hours with an alarm, and the same with another band."""
    (tmp_path / "short.toml").write_text(SHORT, "utf-8")
    (tmp_path / "site.toml").write_text(SITE, "utf-8")
    words = [str(tmp_path / "short.toml"), "--against", "band.low=37F,band.high=41F"]
    places = ["--site", str(tmp_path / "site.toml"), "--state", str(tmp_path / "state")]
    assert main(["rehearse", *words, *places, "--json"]) == 0
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return answer


def test_an_outcome_is_valid_and_may_say_more(outcome: dict[str, Any]) -> None:
    assert outcome["alarms"]
    assert problems("rehearse", outcome) == []
    assert problems("rehearse", {**outcome, "brand_new": 1}) == []


def test_an_outcome_beside_the_promise_is_not_valid(outcome: dict[str, Any]) -> None:
    for path, new in (
        ("froze", None),
        ("froze", ...),
        ("ice_share", 1.1),
        ("coldest_water_c", None),
        ("hours_below_0c", -1.0),
        ("told_after_s", -1.0),
        ("told_after_s", ...),
        ("duty", 1.5),
        ("kwh", "3"),
        ("cost", "free"),
        ("cycles", 1.5),
        ("alarms", None),
        ("alarms/0/code", ...),
        ("alarms/0/extra", 1),
        ("alarms/0/after_s", "soon"),
        ("failed", [""]),
        ("against", {}),
        ("against/settings", {}),
        ("against/kwh", ...),
    ):
        assert problems("rehearse", changed(outcome, path, new)), (path, new)


def test_the_list_of_scenarios_is_valid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)

    assert problems("rehearse", listed) == []
    assert problems("rehearse", [{"name": "nothing about it"}])
    assert problems("rehearse", {})


def test_what_a_campaign_found_is_valid(monkeypatch: pytest.MonkeyPatch, capsys: Any, tmp_path: Path) -> None:
    """Found, and with a failure: a campaign of one schedule, and one that is made to fail."""
    from overwinter.rehearse import campaign as campaigning

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(campaigning, "judge", lambda _scenario, _seed: ("it did not hold", False))
    assert main(["rehearse", "--campaign", "1", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)

    assert found["failed"]
    assert problems("rehearse", found) == []
    for path, new in (
        ("schedules", 0),
        ("seed", ...),
        ("failed", None),
        ("failed/0/why", ""),
        ("failed/0/extra", 1),
        ("froze_unavoidably", -1),
        ("scenario", ""),
    ):
        assert problems("rehearse", changed(found, path, new)), (path, new)
