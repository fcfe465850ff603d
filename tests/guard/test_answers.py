"""What the real process answers and records, against the schemas that ship with it."""

import json

import pytest
from jsonschema import Draft202012Validator

from overwinter.schemas import load
from tests.guard.house import QUICK, House


def faults(name: str, value: object) -> list[str]:
    return [error.message for error in Draft202012Validator(load(name)).iter_errors(value)]


@pytest.mark.parametrize("seen", [True, False], ids=["sees", "blind"])
def test_every_json_answer_and_every_line_is_as_promised(house: House, seen: bool) -> None:
    house.start()
    house.set(*QUICK, "sampling.record_s=1", "failsafe.lost_after_s=3")
    house.reads(0.5 if seen else None)  # cold: an alarm is in every answer
    house.until(lambda: house.status()["blind"] is not seen or house.heat(), "it has noticed", within_s=12)
    house.until(house.heat, "it heats", within_s=12)

    for verb in ("status", "settings"):
        done = house.run(verb, "--json")
        assert done.returncode == 0, done.stderr
        assert faults(verb, json.loads(done.stdout)) == []
    changed = house.call("set", {"changes": {"band.high": "41F", "exercise.every_days": 3}})
    assert faults("set", changed) == []
    assert changed["changes"]["band.high"] == [40.0, 41.0]
    assert faults("hand", house.call("hand", {"heat": True, "for_s": 60})) == []
    assert faults("rpc-error", house.reply("hand", {"heat": True, "for_s": 50_000})) == []
    assert faults("rpc-error", house.reply("set", {"changes": {"band.low": 400.0}})) == []
    assert faults("rpc-error", house.reply("no such method")) == []
    house.call("note", {"text": "new lamp, “60 W” · −3 °C"})
    house.call("quiet")
    house.until(lambda: len(house.events("note")) == 1, "the note is written")

    lines = house.events()
    assert {"start", "sample", "heat", "settings", "hand", "note"} <= {line["event"] for line in lines}
    assert [fault for line in lines for fault in faults("logbook-line", line)] == []


def test_what_json_says_is_alone_on_stdout(house: House) -> None:
    done = house.run("status", "--json")

    assert (done.returncode, done.stdout) == (3, "")
    assert str(house.socket) in done.stderr
